"""A whole copy of a SQLite file beside it, which is either there and complete or not there at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Any

__all__ = ["copy_beside"]


def copy_beside(connection: Any, target: str) -> None:  # noqa: ANN401 - sqlite3 is only imported for a book
    """Copy what a ``sqlite3.Connection`` is open to into a new file, on the disk before it gets its name.

    Raises ``OSError`` and ``sqlite3.Error``. Drafts of runs that were killed are
    taken away.
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
    """Their logs, too."""
    return [
        each for each in target.parent.iterdir() if each.name.startswith(f"{target.name}.") and ".part" in each.name
    ]


def _sync_folder(path: str) -> None:
    """Bring a file's name to the disk, where the system has a way to."""
    if os.name == "posix":
        handle = os.open(Path(path).parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
