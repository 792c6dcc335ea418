"""The content of one member: exactly what was declared, read piece by piece."""

from __future__ import annotations

import errno
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import BinaryIO

from usbwatch.casebook.exchange.archive import COPY_AGAIN
from usbwatch.errors import BadArchive

__all__ = ["content_of", "told"]

_PIECE = 64 * 1024
_NO_LIST = ("is damaged: its list of members cannot be read", COPY_AGAIN)


@contextmanager
def told(path: str) -> Iterator[None]:
    """What the system and the ZIP reader refuse, as ``BadArchive``."""
    try:
        yield
    except OSError as error:
        if error.errno == errno.EINVAL:  # a place before the file's start
            raise BadArchive(path, *_NO_LIST) from None
        raise BadArchive(path, f"cannot be read ({error.strerror})", "check the name and its permissions") from None
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, ValueError, OverflowError, struct.error):
        raise BadArchive(path, *_NO_LIST) from None


def content_of(path: str, file: BinaryIO, place: int, info: zipfile.ZipInfo) -> Iterator[bytes]:
    """The content of a member in pieces; it ends where the directory says, in both forms, and has its CRC-32.

    Not left to ``zipfile``, which takes what unpacks to more than was declared, and leaves out the rest.
    """
    left, crc = info.file_size, 0
    for piece in _unpacked(path, file, place, info):
        left -= len(piece)
        crc = zlib.crc32(piece, crc)
        if left < 0:
            break
        yield piece
    if left or crc != info.CRC:
        raise BadArchive(path, f"is damaged: {info.orig_filename} does not unpack to what it was", COPY_AGAIN)


def _unpacked(path: str, file: BinaryIO, place: int, info: zipfile.ZipInfo) -> Iterator[bytes]:
    packed = _packed(path, file, place, info)
    if info.compress_type == zipfile.ZIP_STORED:
        yield from packed
        return
    unpacker = zlib.decompressobj(-zlib.MAX_WBITS)
    try:
        for piece in packed:
            waiting = piece
            while waiting and not unpacker.eof:
                yield unpacker.decompress(waiting, _PIECE)
                waiting = unpacker.unconsumed_tail
            if waiting or unpacker.unused_data:
                raise zlib.error  # noqa: TRY301 - the same answer as from the library
        yield unpacker.flush()
        if not unpacker.eof:
            raise zlib.error  # noqa: TRY301 - the same
    except zlib.error:
        raise BadArchive(path, f"is damaged: {info.orig_filename} cannot be unpacked", COPY_AGAIN) from None


def _packed(path: str, file: BinaryIO, place: int, info: zipfile.ZipInfo) -> Iterator[bytes]:
    left = info.compress_size
    while left:
        with told(path):
            file.seek(place + info.compress_size - left)
            piece = file.read(min(left, _PIECE))
        if not piece:
            raise BadArchive(path, "has become shorter while it was read", COPY_AGAIN)
        left -= len(piece)
        yield piece
