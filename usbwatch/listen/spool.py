"""A body on its way in: a file beside those that are kept, of which nothing is left when it is not kept."""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import time
from pathlib import Path
from types import TracebackType
from typing import Self

from usbwatch.listen.heads import Kind

__all__ = ["Spool", "swept"]

_NAME = ".usbwatch-{}.part"
_STALE_S = 3600

_MARKER = b"usbwatch-capture"
"""What every capture file has as its format, wherever that stands."""
_GZIP, _TAR_MAGIC = b"\x1f\x8b", slice(257, 262)
_BEGINNING = 512


class Spool:
    """A new file in ``folder`` under a name of ours; raises ``OSError`` when that takes no more."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / _NAME.format(secrets.token_hex(8))
        self.length = 0
        self._sum = hashlib.sha256()
        self._beginning = self._last = b""
        self._marked = False
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | int(getattr(os, "O_BINARY", 0))
        self._file = os.fdopen(os.open(self.path, flags, 0o600), "wb")

    def add(self, piece: bytes) -> None:
        """Add what came."""
        self._file.write(piece)
        self._sum.update(piece)
        self.length += len(piece)
        self._beginning += piece[: _BEGINNING - len(self._beginning)]
        self._marked = self._marked or _MARKER in self._last + piece
        self._last = (self._last + piece)[-len(_MARKER) :]

    def seems(self, kind: Kind) -> bool:
        """Whether it may be what it is said to be: what cannot be is not worth a process that reads it."""
        if kind is Kind.CAPTURE:
            return self._marked
        return self._beginning.startswith(_GZIP) or self._beginning[_TAR_MAGIC] == b"ustar"

    @property
    def digest(self) -> bytes:
        """SHA-256 of all that came."""
        return self._sum.digest()

    def close(self) -> None:
        """All is there: whoever opens the file reads it."""
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _at: TracebackType | None
    ) -> None:
        with contextlib.suppress(OSError):  # what could not be written is thrown away with the file
            self._file.close()
        self.path.unlink(missing_ok=True)


def swept(folder: Path) -> int:
    """How many files of a server that was killed were removed: none that another may still be receiving."""
    count = 0
    for path in folder.glob(_NAME.format("*")):
        with contextlib.suppress(OSError):
            if path.lstat().st_mtime < time.time() - _STALE_S:
                path.unlink()
                count += 1
    return count
