"""The bytes of a file that may be packed with gzip, piece by piece and never more than a limit.

RFC 1952: a file is one member or several, each with the check sum and length
of what it unpacks to; zlib holds both against what it gave out.
"""

from __future__ import annotations

import zlib
from typing import BinaryIO

from usbwatch.errors import BadTree

__all__ = ["PACKED", "Unpacked"]

PACKED = {
    b"PK\x03\x04": "zip",
    b"BZh": "bzip2",
    b"\xfd7zXZ": "xz",
    b"\x28\xb5\x2f\xfd": "zstd",
}
"""How other compressed files begin (RFC 8878, and the formats' own descriptions)."""

_GZIP = b"\x1f\x8b"
_PIECE = 65_536
_WITH_GZIP_HEAD = 16 + zlib.MAX_WBITS
_MOST_MEMBERS = 100
_AGAIN = "collect it again"


class Unpacked:
    """What a file holds, read forward.

    Raises ``BadTree`` under the name ``shown`` once that is more than ``most`` bytes, or is damaged.
    """

    def __init__(self, file: BinaryIO, shown: str, most: int) -> None:
        self._file, self._shown, self._left = file, shown, most
        self._packed = b""
        self._buffer = bytearray()
        self._ended = False
        self._members = 0
        first = file.read(_PIECE)
        self.begins = first[:8]
        """The first bytes of the file as it is."""
        self._unpacker = zlib.decompressobj(_WITH_GZIP_HEAD) if first.startswith(_GZIP) else None
        if self._unpacker is None:
            self._take(first)
        else:
            self._packed = first

    def read(self, size: int) -> bytes:
        """``size`` bytes, fewer at the end."""
        while len(self._buffer) < size and not self._ended:
            self._more()
        piece = bytes(self._buffer[:size])
        del self._buffer[:size]
        return piece

    def run_out(self) -> None:
        """Read to the end and forget it, so that a check sum there is held against what was read."""
        while self.read(_PIECE):
            pass

    def _more(self) -> None:
        if self._unpacker is None:
            piece = self._file.read(_PIECE)
            self._ended = not piece
            self._take(piece)
            return
        if not self._packed and not self._unpacker.unconsumed_tail:
            self._packed = self._file.read(_PIECE)
        self._unpack(self._unpacker.unconsumed_tail + self._packed)

    def _unpack(self, packed: bytes) -> None:
        assert self._unpacker is not None
        if not packed:
            raise BadTree(self._shown, "is packed with gzip and ends in the middle", _AGAIN)
        try:
            piece = self._unpacker.decompress(packed, _PIECE)
        except zlib.error:
            raise BadTree(self._shown, "is packed with gzip and damaged", _AGAIN) from None
        self._packed = b""
        self._take(piece)
        if self._unpacker.eof:
            self._next_member(self._unpacker.unused_data or self._file.read(_PIECE))

    def _next_member(self, rest: bytes) -> None:
        self._members += 1
        if not rest.strip(b"\0"):
            self._ended = True  # Zeros after the last member are padding, as tapes leave it (gzip(1)).
        elif not rest.startswith(_GZIP[: len(rest)]) or self._members >= _MOST_MEMBERS:
            raise BadTree(self._shown, "is packed with gzip and followed by something else", _AGAIN)
        else:
            self._unpacker, self._packed = zlib.decompressobj(_WITH_GZIP_HEAD), rest

    def _take(self, piece: bytes) -> None:
        self._left -= len(piece)
        if self._left < 0:
            raise BadTree(self._shown, "holds far more than a unit's tree does", "give one that a collector made")
        self._buffer += piece
