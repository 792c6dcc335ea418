"""A PostgreSQL server of the distribution's package, started for the tests alone and reached by its socket only."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["server", "tool"]


def tool(name: str) -> str | None:
    """The path of one of the server's programs, which a distribution keeps off the PATH."""
    kept = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(kept[-1]) if kept else shutil.which(name)


@contextmanager
def server() -> Iterator[str]:
    """The URL of a server's first database. It ends, with all that is in it, with the block.

    A server does not run as root: there the package's own user is taken.
    """
    user = "postgres" if os.geteuid() == 0 else pwd.getpwuid(os.geteuid()).pw_name
    folder = Path(tempfile.mkdtemp(prefix="uw-pg-", dir="/tmp"))  # a socket's path is short
    data = folder / "data"
    if os.geteuid() == 0:
        shutil.chown(folder, user, user)
    try:
        _run(user, "initdb", "-D", data, "-U", "bench", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        options = f"-k {folder} -c listen_addresses='' -c max_connections=60 -c fsync=off"
        _run(user, "pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start")
        yield f"postgresql://bench@/postgres?host={folder}"
    finally:
        with contextlib.suppress(subprocess.CalledProcessError):
            _run(user, "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder, ignore_errors=True)


def _run(user: str, program: str, *arguments: str | Path) -> None:
    path = tool(program)
    assert path is not None, f"{program} is not installed (package postgresql)"
    prefix = ["runuser", "-u", user, "--"] if os.geteuid() == 0 else []
    subprocess.run(
        [*prefix, path, *map(str, arguments)],
        check=True,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.STDOUT,
        cwd="/",
    )
