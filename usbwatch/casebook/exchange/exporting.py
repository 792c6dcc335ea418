"""Units of a casebook written into an archive, one after another: no more than one of them is in memory."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import BinaryIO
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile

from usbwatch import __version__
from usbwatch.capture.document import Document
from usbwatch.casebook.book import Book
from usbwatch.casebook.entries import written
from usbwatch.casebook.exchange.archive import (
    LARGEST_HISTORY,
    LEVEL,
    MANIFEST,
    MOST_PARTS,
    MOST_UNPACKED,
    PART_SIZE,
    Manifest,
    documents_of,
    head,
    member,
    part_name,
)
from usbwatch.casebook.packing import digest_text, raw_digest
from usbwatch.casebook.story import written_down
from usbwatch.errors import Refused
from usbwatch.model.history import Unit

__all__ = ["Exported", "export_units"]

_AT_ONCE = 500
"""Units whose ids are read together."""
_WORTH_PACKING = 0.99
"""A part is packed only where that takes less than this share of it: photos are packed already."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """What went into an archive."""

    units: int
    entries: int
    documents: int


def export_units(book: Book, units: Iterable[Unit] | None, target: BinaryIO, made_at: str) -> Exported:
    """Write an archive of units, of all where ``units`` is None, into a new file that can be read again and sought in.

    The same entries make the same bytes, in whichever book they are: only
    ``made_at`` (RFC 3339, UTC) and the version of this program differ. A unit
    is taken as it stands when its turn comes. Raises ``BadBook`` for a book
    that cannot be read, ``NoUnit`` for a unit that is not in it, and
    ``Refused`` where an archive does not have the room.
    """
    counts = [0, 0, 0]
    with ZipFile(target, "w") as file:
        stream = _Stream(file)
        for id_ in _ids(book) if units is None else sorted({unit.id for unit in units}):
            for place, count in enumerate((1, *_write_unit(book, book.unit_by_id(id_), stream))):
                counts[place] += count
        manifest = stream.end(made_at, counts)
        file.writestr(member(MANIFEST, ZIP_STORED), manifest.body)
    return Exported(units=manifest.units, entries=manifest.entries, documents=manifest.documents)


def _ids(book: Book) -> Iterator[str]:
    after = ""
    while rows := book.store.rows("SELECT id FROM unit WHERE id > ? ORDER BY id LIMIT ?", after, _AT_ONCE):
        for (after,) in rows:
            yield after


def _write_unit(book: Book, unit: Unit, stream: _Stream) -> tuple[int, int]:
    """The number of entries and of documents that were written."""
    entries = sorted(book.entries(unit), key=written_down)
    bodies = [written(entry).body for entry in entries]
    if sum(map(len, bodies)) + len(bodies) > LARGEST_HISTORY:
        raise Refused(
            f"the entries of unit {unit.label} take more than {LARGEST_HISTORY // 1024**2} MiB",
            "export the other units without it",
        )
    stream.write(head(unit=unit.id, entries=len(entries)))
    for body in bodies:
        stream.write(body + b"\n")
    documents = documents_of(entries)
    for digest, kind in documents.items():
        _write_document(book, digest, kind, stream)
    return len(entries), len(documents)


def _write_document(book: Book, digest: str, kind: str, stream: _Stream) -> None:
    content = book.content(digest)
    values: Document = {"document": digest, "kind": kind, "size": len(content)}
    if kind != "capture":
        ((family,),) = book.store.rows("SELECT family FROM document WHERE digest = ?", raw_digest(digest))
        if family:
            values["family"] = family
    stream.write(head(**values))
    stream.write(content)
    stream.write(b"\n")


class _Stream:
    """The stream on its way into parts."""

    def __init__(self, file: ZipFile) -> None:
        self._file = file
        self._waiting = bytearray()
        self._parts = self._size = 0
        self._digest = hashlib.sha256()

    def write(self, piece: bytes) -> None:
        """Add to the stream. Raises ``Refused`` where an archive would become too large."""
        self._digest.update(piece)
        self._size += len(piece)
        self._waiting += piece
        while len(self._waiting) >= PART_SIZE:
            self._write_part(bytes(self._waiting[:PART_SIZE]))
            del self._waiting[:PART_SIZE]

    def _write_part(self, part: bytes) -> None:
        self._parts += 1
        if self._parts > MOST_PARTS:
            raise Refused("the units take more than one archive can hold", "export fewer of them at once")
        info = member(part_name(self._parts), _method(part))
        self._file.writestr(info, part, compresslevel=LEVEL)

    def end(self, made_at: str, counts: list[int]) -> Manifest:
        """Write the last part; what is to be said of all of it."""
        if self._waiting:
            self._write_part(bytes(self._waiting))
        units, entries, documents = counts
        return Manifest(
            made_by=f"usbwatch {__version__}",
            made_at=made_at,
            units=units,
            entries=entries,
            documents=documents,
            size=self._size,
            digest=digest_text(self._digest.digest()),
        )


def _method(part: bytes) -> int:
    """How a part is kept: as it is where DEFLATE gains next to nothing, or would make of it what looks like a bomb."""
    packer = zlib.compressobj(LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
    packed = len(packer.compress(part)) + len(packer.flush())
    return ZIP_DEFLATED if len(part) / MOST_UNPACKED <= packed < _WORTH_PACKING * len(part) else ZIP_STORED
