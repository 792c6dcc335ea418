"""A whole copy of a SQLite file beside it, which is either there and complete or not there at all."""

from __future__ import annotations

import contextlib
import os
import re
import time
from pathlib import Path
from typing import Any

__all__ = ["copy_beside"]

_A_DAY_S = 24 * 60 * 60


def copy_beside(connection: Any, target: str) -> None:  # noqa: ANN401 - sqlite3 is only imported for a book
    """Copy what a ``sqlite3.Connection`` is open to into a new file, on the disk before it gets its name.

    Raises ``OSError`` and ``sqlite3.Error``. Drafts of runs that were killed are
    taken away a day later: before that, another program may be writing them.
    """
    import sqlite3

    draft = f"{target}.{os.getpid()}.part"
    try:
        # Not VACUUM INTO, which does not sync what it writes, and takes no file name but UTF-8.
        with contextlib.closing(sqlite3.connect(draft, isolation_level=None)) as copy:
            connection.backup(copy)
        os.replace(draft, target)  # noqa: PTH105 - both are paths as text
    finally:
        for left in _drafts(Path(target)):
            left.unlink(missing_ok=True)
    _sync_folder(target)


def _drafts(target: Path) -> list[Path]:
    """Those of the present run, and those that are older than a day; their logs, too."""
    form = re.compile(rf"{re.escape(target.name)}\.(\d+)\.part(-wal|-shm|-journal)?\Z", re.ASCII)
    found = ((each, form.match(each.name)) for each in target.parent.iterdir())
    return [each for each, fits in found if fits and (int(fits[1]) == os.getpid() or _is_old(each))]


def _is_old(path: Path) -> bool:
    try:
        return path.lstat().st_mtime < time.time() - _A_DAY_S
    except OSError:  # gone by now
        return False


def _sync_folder(path: str) -> None:
    """Bring a file's name to the disk, where the system has a way to."""
    if os.name == "posix":
        handle = os.open(Path(path).parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
