"""The archive's format: its names, its limits, and the few documents of its own that it holds.

An archive is a ZIP file. What it carries is one stream of units, cut into
parts of equal size; a manifest says how long the stream is. So every member's
name and size follow from one number, and none has to be believed: there is no
name in an archive that anything is called by. Parts of bounded size also keep
the directory small, and the memory that a reader needs, for a book of any size.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipInfo

from usbwatch.capture.document import Document, Json, canonical, plain
from usbwatch.casebook.entries import digests_in
from usbwatch.model.history import Amended, Baselined, Captured, Closed, Entry

__all__ = [
    "COPY_AGAIN",
    "EXPORT_AGAIN",
    "FORMAT",
    "LARGEST_DIRECTORY",
    "LARGEST_HISTORY",
    "LARGEST_MANIFEST",
    "LEVEL",
    "LONGEST_HEAD",
    "MANIFEST",
    "METHODS",
    "MOST_PARTS",
    "MOST_UNPACKED",
    "PART_SIZE",
    "SCHEMA",
    "Manifest",
    "documents_of",
    "head",
    "member",
    "members",
    "part_name",
]

FORMAT = "usbwatch-units"
SCHEMA = 1
MANIFEST = "usbwatch-units.json"

PART_SIZE = 16 * 1024 * 1024
"""Bytes of every part but the last, which is shorter; one part has to fit into memory while it is written."""
MOST_PARTS = 65_536
"""1 TiB in all, some forty million captures; their directory still fits into memory."""
MOST_UNPACKED = 200
"""No member unpacks to more than this many times what it takes; what would is stored as it is.

DEFLATE goes up to 1032 to 1 (RFC 1951, 3.2.5: a match of 258 bytes in 2 bits), which is what bombs are made of.
Captures that hardly differ repeat what stands some 20 KB before, and a match so far back takes 15 bits or more: at
most 138 to 1.
"""
LARGEST_MANIFEST = 64 * 1024
"""Bytes; it takes some 400."""
LARGEST_DIRECTORY = (MOST_PARTS + 1) * 128
"""Bytes of the ZIP file's central directory: 46, the name, and 12 where ZIP64 needs them, for each member."""
LARGEST_HISTORY = 64 * 1024 * 1024
"""Bytes of the entries of one unit, which are in memory together; a thousand entries take half a megabyte."""
LONGEST_HEAD = 4096
"""Bytes of the line before a unit's entries or a document."""

EXPORT_AGAIN = "give a file as usbwatch unit export wrote it"
COPY_AGAIN = "copy it again from where it was exported"

METHODS = (ZIP_STORED, ZIP_DEFLATED)
LEVEL = 6
"""Of DEFLATE, as zlib counts: a higher one takes twice the time for some hundredths."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What an archive says of itself."""

    made_by: str
    """The program and its version."""
    made_at: str
    """RFC 3339, UTC."""
    units: int
    entries: int
    documents: int
    """A document that several units speak of is with each of them, and counts each time."""
    size: int
    """Bytes of the stream, unpacked."""
    digest: str
    """SHA-256 over the stream."""

    @property
    def parts(self) -> int:
        """How many parts the stream is cut into."""
        return -(-self.size // PART_SIZE)

    def part_size(self, number: int) -> int:
        """Bytes of one part, counted from 1."""
        return min(PART_SIZE, self.size - (number - 1) * PART_SIZE)

    @property
    def body(self) -> bytes:
        """The manifest as it stands in an archive: its canonical form (RFC 8785)."""
        values = plain(self)
        assert isinstance(values, dict)
        return canonical({"format": FORMAT, "schema": SCHEMA, **values})


def part_name(number: int) -> str:
    """What a part is called.

    >>> part_name(1)
    'units-00001'
    """
    return f"units-{number:05}"


def members(manifest: Manifest) -> Iterable[tuple[str, int]]:
    """Name and size of every member, in their order."""
    for number in range(1, manifest.parts + 1):
        yield part_name(number), manifest.part_size(number)
    yield MANIFEST, len(manifest.body)


def member(name: str, method: int) -> ZipInfo:
    """The header of a member: the same in every archive, wherever and whenever it is made.

    A plain file that its owner alone may read (APPNOTE.TXT 6.3.10, sections 4.4.2
    and 4.4.15), of the first day that the format knows (4.4.6).
    """
    info = ZipInfo(name)
    info.create_system = 3
    info.external_attr = 0o600 << 16
    info.compress_type = method
    return info


def head(**values: Json) -> bytes:
    r"""A line that says what follows it.

    >>> head(unit="9f", entries=2)
    b'{"entries":2,"unit":"9f"}\n'
    """
    document: Document = values
    return canonical(document) + b"\n"


def documents_of(entries: Iterable[Entry]) -> dict[str, str]:
    """The kind of every document that entries speak of, by digest, in the order in which they are first spoken of.

    What is a capture to any of them is one.
    """
    kinds: dict[str, str] = {}
    for entry in entries:
        for digest in digests_in(entry.fact):
            kind = _kind(entry)
            if kind == "capture" or digest not in kinds:
                kinds[digest] = kind
    return kinds


def _kind(entry: Entry) -> str:
    fact: Any = entry.fact.instead if isinstance(entry.fact, Amended) else entry.fact
    if isinstance(fact, (Captured, Baselined)):
        return "capture"
    return "sites" if isinstance(fact, Closed) else "file"
