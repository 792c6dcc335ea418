"""The entries of a tar archive, as POSIX.1-2017 (pax, "ustar Interchange Format") and GNU tar write them.

The archive is a stranger's, so this is a reader of its own rather than the
standard library's: that one, as Pythons from 3.8 on ship it, can be held up
for hours by an extended header of digits (CVE-2024-6232) or sent round in
circles by a size below zero (CVE-2025-8194). Here every byte is looked at a
bounded number of times, and nothing is guessed: what is not right is refused.
"""

from __future__ import annotations

from enum import Enum
from typing import Dict, Iterator, NamedTuple, Tuple

from usbwatch.capture.unpacking import PACKED, Unpacked
from usbwatch.errors import BadTree

__all__ = ["CONTENT_LIMIT", "EntryKind", "TarEntry", "tar_entries"]

CONTENT_LIMIT = 16 * 1024 * 1024
"""Bytes of one file that are kept at most; the longest that anything reads, the kernel's log, has that limit too."""

_BLOCK = 512
_PIECE = 65_536
_LONGEST_HEADER = 65_536
"""Bytes of an extended header at most: two paths of PATH_MAX need 8 KiB."""
_MOST_HEADERS = 4
"""Extended headers in a row at most: GNU tar writes two before one entry."""
_AGAIN = "collect it again"
_NO_TAR = "give the folder that holds the copied sys, or a tar archive of it"


class EntryKind(Enum):
    """What an entry is, as far as anything here can use it."""

    FILE = "file"
    FOLDER = "folder"
    LINK = "link"
    SAME = "hard link"
    OTHER = "other"


class TarEntry(NamedTuple):
    """One entry as the archive has it: nothing about its name is checked yet."""

    kind: EntryKind
    path: str
    target: str = ""
    """Of a link, symbolic or hard."""
    content: bytes = b""
    """Of a file, at most ``CONTENT_LIMIT`` bytes of it."""


_KINDS = {
    b"0": EntryKind.FILE,
    b"\0": EntryKind.FILE,
    b"7": EntryKind.FILE,
    b"1": EntryKind.SAME,
    b"2": EntryKind.LINK,
    b"3": EntryKind.OTHER,
    b"4": EntryKind.OTHER,
    b"5": EntryKind.FOLDER,
    b"6": EntryKind.OTHER,
    b"D": EntryKind.FOLDER,
}
"""By typeflag; D is GNU tar's folder with a list in it."""

_WITHOUT_DATA = frozenset({b"1", b"2", b"3", b"4", b"5", b"6"})
"""After these no data follows, whatever the size field says."""


def tar_entries(source: Unpacked, shown: str) -> Iterator[TarEntry]:
    """Every entry in order; raises ``BadTree`` where the archive is none, is damaged, or is cut short."""
    return _Reader(source, shown).entries()


class _Reader:
    def __init__(self, source: Unpacked, shown: str) -> None:
        self._source, self._shown = source, shown
        self._at = 0
        self._extended: Dict[str, str] = {}
        self._headers = 0

    def entries(self) -> Iterator[TarEntry]:
        while True:
            header = self._block()
            if not header.strip(b"\0"):
                break
            self._check(header)
            flag, size = header[156:157], self._size(header)
            if flag in (b"x", b"g", b"L", b"K"):
                self._extend(flag, size)
                continue
            yield self._entry(header, flag, size)
            self._extended, self._headers = {}, 0
        self._source.run_out()

    def _bad(self, problem: str, remedy: str = _AGAIN) -> BadTree:
        return BadTree(self._shown, problem, remedy)

    def _block(self) -> bytes:
        block = self._source.read(_BLOCK)
        if len(block) < _BLOCK:
            if not self._at:
                raise self._no_tar()
            raise self._bad("is a tar archive that ends in the middle, so it does not hold all that was collected")
        self._at += _BLOCK
        return block

    def _no_tar(self) -> BadTree:
        packed = next((name for mark, name in PACKED.items() if self._source.begins.startswith(mark)), "")
        if packed:
            return self._bad(f"is compressed ({packed})", "unpack it; of packed tar archives those of gzip are read")
        return self._bad("is a file, and no tar archive", _NO_TAR)

    def _check(self, header: bytes) -> None:
        """The check sum: of all bytes of the header, its own field taken as blanks."""
        told = _octal(header[148:156])
        if told != sum(header) - sum(header[148:156]) + 8 * ord(" "):
            raise self._no_tar() if self._at == _BLOCK else self._bad(f"is damaged at byte {self._at - _BLOCK}")

    def _size(self, header: bytes) -> int:
        told = self._extended.get("size")
        size = _octal(header[124:136]) if told is None else int(told)
        if size < 0:
            raise self._bad(f"has an entry without a length at byte {self._at - _BLOCK}")
        return size

    def _extend(self, flag: bytes, size: int) -> None:
        """Keep what an extended header says of the entry that comes next."""
        self._headers += 1
        if size > _LONGEST_HEADER or self._headers > _MOST_HEADERS:
            raise self._bad(f"has a longer extended header at byte {self._at - _BLOCK} than any path needs")
        content = self._content(size)
        if flag == b"x":
            self._extended.update(self._records(content))
        elif flag != b"g":  # Global headers are comments; no archiver puts names there.
            self._extended["path" if flag == b"L" else "linkpath"] = _text(content)

    def _records(self, content: bytes) -> Iterator[Tuple[str, str]]:
        r"""Records ``"%d %s=%s\n"``, of which the number is the whole record's length (pax Extended Header)."""
        at = 0
        while at < len(content):
            digits, _, _ = content[at : at + 20].partition(b" ")
            length = int(digits) if digits.isdigit() else 0
            record = content[at + len(digits) + 1 : at + length]
            key, equals, value = record.partition(b"=")
            if length <= len(digits) + 1 or at + length > len(content) or not equals or not value.endswith(b"\n"):
                raise self._bad(f"has an extended header that is damaged, before byte {self._at}")
            at += length
            name, text = key.decode("ascii", "replace"), value[:-1].decode("utf-8", "surrogateescape")
            if name.startswith("GNU.sparse"):
                raise self._sparse()
            if name in ("path", "linkpath"):
                yield name, text
            elif name == "size":
                yield name, text if value[:-1].isdigit() and len(value) < 20 else "-1"  # noqa: PLR2004 - 2**63

    def _sparse(self) -> BadTree:
        return self._bad("holds a file with holes in it", "make the archive without --sparse")

    def _entry(self, header: bytes, flag: bytes, size: int) -> TarEntry:
        if flag in (b"S", b"M"):
            raise self._sparse() if flag == b"S" else self._bad("is one part of several", "give it in one piece")
        kind = _KINDS.get(flag, EntryKind.OTHER)
        path = self._extended.get("path") or _name(header)
        content = b"" if flag in _WITHOUT_DATA else self._content(size)
        if kind is EntryKind.FILE and path.endswith("/"):
            kind = EntryKind.FOLDER  # As archivers before POSIX marked one.
        target = self._extended.get("linkpath") or _text(header[157:257])
        if kind is EntryKind.FILE:
            return TarEntry(kind, path, "", content)
        return TarEntry(kind, path, target if kind in (EntryKind.LINK, EntryKind.SAME) else "")

    def _content(self, size: int) -> bytes:
        """The data that follows, its padding read too; of more than ``CONTENT_LIMIT`` bytes the first ones."""
        pieces = []
        left = (size + _BLOCK - 1) // _BLOCK * _BLOCK
        kept = min(size, CONTENT_LIMIT)
        while left:
            piece = self._source.read(min(left, _PIECE))
            if not piece:
                raise self._bad("is a tar archive that ends in the middle of a file")
            if kept:
                pieces.append(piece[:kept])
                kept -= len(pieces[-1])
            left -= len(piece)
            self._at += len(piece)
        return b"".join(pieces)


def _name(header: bytes) -> str:
    name = _text(header[:100])
    prefix = _text(header[345:500]) if header[257:263] == b"ustar\0" else ""
    return f"{prefix}/{name}" if prefix else name


def _text(field: bytes) -> str:
    """Text up to the first NUL; bytes that are no UTF-8 as ``os.listdir`` hands them on."""
    return field.partition(b"\0")[0].decode("utf-8", "surrogateescape")


def _octal(field: bytes) -> int:
    """A number of a header: octal digits, or GNU tar's base 256; -1 for anything else."""
    if field[0] == 0x80:  # noqa: PLR2004 - the mark of base 256, above zero
        return int.from_bytes(field[1:], "big")
    digits = field.strip(b" \0")
    if not digits:
        return 0
    return int(digits, 8) if all(0x30 <= digit <= 0x37 for digit in digits) else -1  # noqa: PLR2004 - "0" to "7"
