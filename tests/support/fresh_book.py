"""Empty casebooks by the hundred, for tests that draw their input: each a file in memory where the system has such."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from itertools import count
from pathlib import Path

from usbwatch.casebook import Book, open_book

__all__ = ["fresh_book"]

_SHARED = Path("/dev/shm")
_numbers = count()
_folders: list[Path] = []


def fresh_book() -> Book:
    """A new, empty casebook of its own; its file goes when the tests end."""
    if not _folders:
        _folders.append(Path(tempfile.mkdtemp(prefix="uw-books-", dir=_SHARED if _SHARED.is_dir() else None)))
        atexit.register(shutil.rmtree, _folders[0], ignore_errors=True)
    return open_book(str(_folders[0] / f"book-{next(_numbers)}.sqlite"))
