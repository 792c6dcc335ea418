"""A PostgreSQL server of the distribution's package, started for the tests alone and reached by its socket only."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["killed_and_started_again", "server", "tool"]


_SHORT = 60
"""A socket's path has room for 107 letters (unix(7)), its name included."""


def tool(name: str) -> str | None:
    """The path of one of the server's programs, which a distribution keeps off the PATH."""
    kept = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(kept[-1]) if kept else shutil.which(name)


@contextmanager
def server(*, durable: bool = False) -> Iterator[str]:
    """The URL of a server's first database. It ends, with all that is in it, with the block.

    Only a ``durable`` one waits for the disk; the others are for tests that kill no server.

    A server does not run as root: there the package's own user is taken.
    """
    user = _user()
    kept = tempfile.gettempdir()
    folder = Path(tempfile.mkdtemp(prefix="uw-pg-", dir=kept if len(kept) < _SHORT else "/tmp"))
    data = folder / "data"
    if os.geteuid() == 0:
        shutil.chown(folder, user, user)
    try:
        _run(user, "initdb", "-D", data, "-U", "bench", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        _start(folder, durable=durable)
        yield f"postgresql://bench@/postgres?host={folder}"
    finally:
        with contextlib.suppress(subprocess.CalledProcessError):
            _run(user, "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder, ignore_errors=True)


def _user() -> str:
    return "postgres" if os.geteuid() == 0 else pwd.getpwuid(os.geteuid()).pw_name


def _start(folder: Path, *, durable: bool) -> None:
    options = f"-k {folder} -c listen_addresses='' -c max_connections=60 -c fsync={'on' if durable else 'off'}"
    _run(_user(), "pg_ctl", "-D", folder / "data", "-w", "-l", folder / "log", "-o", options, "start")


def killed_and_started_again(url: str) -> int:
    """SIGKILL for every process of a durable server, all but at once, and a new start; how many processes it had."""
    folder = Path(url.partition("?host=")[2])
    first = int((folder / "data" / "postmaster.pid").read_text().split("\n")[0])
    children = Path(f"/proc/{first}/task/{first}/children").read_text().split()
    for process in [first, *map(int, children)]:
        with contextlib.suppress(ProcessLookupError):
            os.kill(process, signal.SIGKILL)
    while Path(f"/proc/{first}").exists() or any(Path(f"/proc/{child}").exists() for child in children):
        time.sleep(0.01)
    _start(folder, durable=True)
    return 1 + len(children)


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
