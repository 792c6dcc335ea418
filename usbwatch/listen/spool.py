"""A body on its way in: a file beside those that are kept, of which nothing is left when it is not kept."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import stat
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

from usbwatch.listen.heads import BodyKind

__all__ = ["NotSpooled", "Spool", "swept"]

_NAME = ".usbwatch-{}.part"
_OURS = re.compile(r"\.usbwatch-[0-9a-f]{16}\.part\Z")
_STALE_S = 3600
_TRIES = 5

_MARKER = b"usbwatch-capture"
"""What every capture file has as its format, wherever that stands."""
_GZIP, _TAR_MAGIC = b"\x1f\x8b", slice(257, 262)
_BEGINNING = 512


class NotSpooled(Exception):
    """Why the bench's disk did not take a body: the system's own words."""


@contextlib.contextmanager
def _told() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise NotSpooled(error.strerror or type(error).__name__) from None


class Spool:
    """A new file in ``folder`` under a name of ours, locked while it is there. Raises ``NotSpooled``, also later."""

    def __init__(self, folder: Path) -> None:
        self.length = 0
        self._sum = hashlib.sha256()
        self._beginning = self._last = b""
        self._marked = False
        with _told():
            self.path, self._file = _opened(folder)

    def add(self, piece: bytes) -> None:
        """Add what came."""
        with _told():
            self._file.write(piece)
        self._sum.update(piece)
        self.length += len(piece)
        self._beginning += piece[: _BEGINNING - len(self._beginning)]
        self._marked = self._marked or _MARKER in self._last + piece
        self._last = (self._last + piece)[-len(_MARKER) :]

    def seems(self, kind: BodyKind) -> bool:
        """Whether it may be what it is said to be: what cannot be is not worth a process that reads it."""
        if kind is BodyKind.CAPTURE:
            return self._marked
        return self._beginning.startswith(_GZIP) or self._beginning[_TAR_MAGIC] == b"ustar"

    @property
    def digest(self) -> bytes:
        """SHA-256 of all that came."""
        return self._sum.digest()

    def finish(self) -> None:
        """All is there: whoever opens the file reads it."""
        with _told():
            self._file.flush()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _at: TracebackType | None
    ) -> None:
        with contextlib.suppress(OSError):  # what could not be written is thrown away with the file
            self._file.close()
        with contextlib.suppress(OSError):  # what was kept is kept, even where this name cannot be taken away
            self.path.unlink(missing_ok=True)


def _opened(folder: Path) -> tuple[Path, BinaryIO]:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | int(getattr(os, "O_BINARY", 0))
    for _ in range(_TRIES):
        path = folder / _NAME.format(secrets.token_hex(8))
        file = os.fdopen(os.open(path, flags, 0o600), "wb")
        _lock(file.fileno(), wait=True)
        if os.fstat(file.fileno()).st_nlink:
            return path, file
        file.close()  # Another server that has just started saw it before it was locked, and removed it.
    raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))


def _lock(handle: int, *, wait: bool) -> bool | None:
    """Whether the file is now locked by this process, until it is closed; None where the system has no such locks."""
    try:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    except (ImportError, OSError):
        return None
    return True


def swept(folder: Path) -> int:
    """How many files were removed that servers left which were killed: none that another is still receiving.

    A server that runs holds a lock on each of its own, which the system lets
    go when it ends, however. Where there are no locks, an hour without a byte
    is what tells.
    """
    with contextlib.suppress(OSError):
        return sum(_removed(path) for path in folder.iterdir() if _OURS.match(path.name))
    return 0


def _removed(path: Path) -> bool:
    flags = os.O_RDWR | int(getattr(os, "O_NOFOLLOW", 0)) | int(getattr(os, "O_NONBLOCK", 0))
    with contextlib.suppress(OSError), os.fdopen(os.open(path, flags), "rb+", buffering=0) as file:
        if not _abandoned(file.fileno()):
            return False
        if os.name == "nt":
            file.close()  # An open file cannot be removed there.
        path.unlink()
        return True
    return False


def _abandoned(handle: int) -> bool:
    status = os.fstat(handle)
    ours = getattr(os, "geteuid", lambda: status.st_uid)() == status.st_uid
    if not stat.S_ISREG(status.st_mode) or not ours:
        return False
    locked = _lock(handle, wait=False)
    return status.st_mtime < time.time() - _STALE_S if locked is None else locked
