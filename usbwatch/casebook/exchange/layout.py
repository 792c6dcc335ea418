r"""An archive opened: every byte of the ZIP file's structure is one that was expected, or it is refused.

What an export writes leaves nothing open but the content: names, sizes, dates,
flags and places of all members follow from the manifest. So a member that is
called ``../x`` or ``C:\x``, is a link, is encrypted, lies over another one or
unpacks to more than it should is simply not the one that should be there.
Sections are those of APPNOTE.TXT 6.3.10, the ZIP file's own description.
"""

from __future__ import annotations

import os
import stat
import struct
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import BinaryIO, Never

from usbwatch.capture.opening import READ_ONLY
from usbwatch.casebook.exchange.archive import (
    COPY_AGAIN,
    EXPORT_AGAIN,
    LARGEST_DIRECTORY,
    LARGEST_MANIFEST,
    MANIFEST,
    METHODS,
    MOST_UNPACKED,
    Manifest,
    member,
    members,
)
from usbwatch.casebook.exchange.manifest import manifest_of
from usbwatch.casebook.exchange.unpacking import content_of, told
from usbwatch.errors import BadArchive
from usbwatch.safe import safe

__all__ = ["Archive", "archive_at"]

_END = struct.Struct("<4s4H2LH")
"""End of central directory record (4.3.16), without a comment."""
_END_MARK = b"PK\x05\x06"
_LOCATOR = struct.Struct("<4sLQL")
"""ZIP64 end of central directory locator (4.3.15)."""
_LOCATOR_MARK = b"PK\x06\x07"
_END_64 = struct.Struct("<4sQ2H2L4Q")
"""ZIP64 end of central directory record (4.3.14)."""

_SEEMS = (
    (0, b"\x1f\x8b", "is compressed (gzip)"),
    (0, b"BZh", "is compressed (bzip2)"),
    (0, b"\xfd7zXZ", "is compressed (xz)"),
    (0, b"\x28\xb5\x2f\xfd", "is compressed (zstd)"),
    (0, b"7z\xbc\xaf\x27\x1c", "is a 7z file"),
    (257, b"ustar", "is a tar file"),
    (0, b"SQLite format 3\0", "is a database, perhaps a casebook itself"),
    (0, b"{", "is a JSON document, perhaps a capture"),
    (0, b"%PDF", "is a PDF document"),
)
"""How files of other kinds begin: offset, bytes, what is said of it (the formats' own descriptions, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Archive:
    """An archive whose structure is as it should be. Of its content nothing is known yet."""

    path: str
    manifest: Manifest
    file: BinaryIO
    parts: tuple[tuple[int, zipfile.ZipInfo], ...]
    """Where the content of each part begins, and its header."""

    def refuse(self, problem: str, remedy: str = EXPORT_AGAIN) -> Never:
        """Raise ``BadArchive``."""
        raise BadArchive(self.path, problem, remedy)

    def pieces(self) -> Iterator[bytes]:
        """The content of all parts in order, piece by piece. Raises ``BadArchive`` where a part is damaged."""
        for place, info in self.parts:
            yield from content_of(self.path, self.file, place, info)


@contextmanager
def archive_at(path: str) -> Iterator[Archive]:
    """The archive at a path, open until the block ends. Raises ``BadArchive`` for anything else."""
    with told(path):
        file = os.fdopen(_handle(path), "rb")
    with file:
        with told(path):
            archive = _archive(path, file)
        yield archive


def _handle(path: str) -> int:
    """Of a regular file, and of nothing else: a pipe may never end, and a folder has no content."""
    try:
        handle = os.open(path, READ_ONLY)
    except ValueError:
        raise BadArchive(path, "has a name that no file can have", EXPORT_AGAIN) from None
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise BadArchive(path, "is no regular file", EXPORT_AGAIN)
    return handle


def _archive(path: str, file: BinaryIO) -> Archive:
    _refuse_directory(path, file)
    with zipfile.ZipFile(file) as listed:
        found = listed.infolist()
        last = listed.NameToInfo.get(MANIFEST)
        if last is None:
            name = f"; it begins with {_shown(found[0])}" if found else ""
            raise BadArchive(path, f"is a ZIP file, but none with units{name}", EXPORT_AGAIN)
        manifest = _manifest(path, file, last)
        expected = list(members(manifest))
        _refuse_members(path, found, expected)
        position, places = 0, []
        for info, (name, size) in zip(found, expected, strict=True):
            begins = _begin(path, file, info, (name, size, position))
            places.append((begins, info))
            position = begins + info.compress_size
        if position != listed.start_dir:
            raise BadArchive(path, "holds something beside its members", EXPORT_AGAIN)
    return Archive(path=path, manifest=manifest, file=file, parts=tuple(places[:-1]))


def _refuse_directory(path: str, file: BinaryIO) -> None:
    """Raise for a file without a ZIP file's end, and for a directory that would not fit into memory."""
    length = file.seek(0, os.SEEK_END)
    end = _read_at(file, length - _END.size, _END.size)
    if len(end) < _END.size or not end.startswith(_END_MARK):
        raise BadArchive(path, *_seems(file, length))
    size = _END.unpack(end)[5]
    locator = _read_at(file, length - _END.size - _LOCATOR.size, _LOCATOR.size)
    if locator.startswith(_LOCATOR_MARK):
        wide = _read_at(file, length - _END.size - _LOCATOR.size - _END_64.size, _END_64.size)
        size = _END_64.unpack(wide)[8]
    if size > LARGEST_DIRECTORY:
        raise BadArchive(path, "has more members than any archive of units", EXPORT_AGAIN)


def _read_at(file: BinaryIO, place: int, size: int) -> bytes:
    if place < 0:
        return b""
    file.seek(place)
    return file.read(size)


def _seems(file: BinaryIO, length: int) -> tuple[str, str]:
    if length == 0:
        return "is empty", COPY_AGAIN
    start = _read_at(file, 0, 512)
    if start.startswith(b"PK\x03\x04"):
        return "is damaged: it is a ZIP file, and its end is not that of one", COPY_AGAIN
    said = next((text for place, mark, text in _SEEMS if start[place:].startswith(mark)), "is no ZIP file")
    return f"{said}, and an archive of units is a ZIP file", EXPORT_AGAIN


def _manifest(path: str, file: BinaryIO, info: zipfile.ZipInfo) -> Manifest:
    """Read before anything else is looked at: an archive of a newer program is then told to be that."""
    if info.file_size > LARGEST_MANIFEST or info.compress_size > 2 * LARGEST_MANIFEST:
        raise BadArchive(path, f"has a {MANIFEST} that is larger than any", EXPORT_AGAIN)
    begins = _begin(path, file, info, (MANIFEST, info.file_size, info.header_offset))
    return manifest_of(b"".join(content_of(path, file, begins, info)), path)


def _refuse_members(path: str, found: list[zipfile.ZipInfo], expected: list[tuple[str, int]]) -> None:
    for info, (name, _) in zip(found, expected, strict=False):
        if info.orig_filename != name:
            raise BadArchive(path, f"holds {_shown(info)} where {name} should be", EXPORT_AGAIN)
    if len(found) > len(expected):
        raise BadArchive(
            path, f"holds {_shown(found[len(expected)])}, which its manifest leaves no room for", EXPORT_AGAIN
        )
    if len(found) < len(expected):
        raise BadArchive(path, f"does not hold {expected[len(found)][0]}", COPY_AGAIN)


def _begin(path: str, file: BinaryIO, info: zipfile.ZipInfo, wanted: tuple[str, int, int]) -> int:
    """Where the content of a member begins, whose name, size and place are those that are wanted."""
    name, size, position = wanted
    problem = _oddity(info, size, position)
    if problem:
        raise BadArchive(path, f"is not as it was exported: its member {name} {problem}", EXPORT_AGAIN)
    same = member(name, info.compress_type)
    same.CRC, same.compress_size, same.file_size = info.CRC, info.compress_size, info.file_size
    header = same.FileHeader(zip64=False)
    if _read_at(file, position, len(header)) != header:
        raise BadArchive(path, f"is damaged: its member {name} has two headers that differ", COPY_AGAIN)
    return position + len(header)


def _oddity(info: zipfile.ZipInfo, size: int, position: int) -> str:
    """What is wrong with a member's entry in the directory, "" for nothing."""
    plain = member(info.orig_filename, info.compress_type)
    rules = (
        (info.flag_bits & 0x41, "is encrypted"),  # bits 0 and 6: 4.4.4
        (info.flag_bits, "has flags that it should not have"),
        (info.compress_type not in METHODS, "is compressed in a way that is not used here"),
        (info.external_attr != plain.external_attr or info.create_system != plain.create_system, "is no plain file"),
        (info.file_size != size, f"has {info.file_size} bytes, not {size}"),
        (info.file_size > MOST_UNPACKED * info.compress_size, f"unpacks to more than {MOST_UNPACKED} times its size"),
        (info.header_offset != position, "lies elsewhere than it should, perhaps over another one"),
        (info.volume or info.internal_attr or info.comment, "has fields that it should not have"),
        (info.extra != _place_extra(position), "has fields that it should not have"),
    )
    return next((text for broken, text in rules if broken), "")


def _place_extra(position: int) -> bytes:
    """What says where a member lies that 32 bits cannot place (4.5.3); the writer turns to it at 31."""
    return struct.pack("<HHQ", 1, 8, position) if position > zipfile.ZIP64_LIMIT else b""


def _shown(info: zipfile.ZipInfo) -> str:
    return f'"{safe(info.orig_filename, 80)}"'
