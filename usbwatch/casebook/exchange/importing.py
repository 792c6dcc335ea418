"""An archive taken into a casebook: all of it, once all of it has been checked, or nothing.

The file is read twice. The first time every byte is checked and nothing is
written, so that nobody waits for a bad archive. The second time it is checked
again and written, in one transaction: what has changed in the meantime, in the
file or in the book, undoes it all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from usbwatch.casebook.book import Book
from usbwatch.casebook.bounds import a_day_after
from usbwatch.casebook.entries import written
from usbwatch.casebook.exchange.layout import Archive, archive_at
from usbwatch.casebook.exchange.reading import UnitRead, units_in
from usbwatch.casebook.packing import digest_text, kept
from usbwatch.casebook.serials import add_serials
from usbwatch.casebook.story import story
from usbwatch.model.history import Entry, Opened, Unit

__all__ = ["Imported", "UnitImported", "import_units"]

_CLOCK = "see that this machine's clock is right; if it is, that of the other bench was not"
_ASK = "ask whoever exported it where it comes from"


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitImported:
    """What became of one unit of an archive."""

    unit: Unit
    """As it now stands in this book; its label has a number behind it where another unit here has it."""
    label: str
    """Its label by its own entries."""
    new: bool
    """Whether this book did not have it before."""
    entries: int
    """How many were added; 0: the book had them all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """What an import added."""

    units: tuple[UnitImported, ...]
    """All that the archive holds, by id."""
    documents: int
    """How many were added."""

    @property
    def entries(self) -> int:
        """How many were added."""
        return sum(each.entries for each in self.units)


def import_units(book: Book, source: str, *, now: str) -> Imported:
    """Add the units of the archive at a path to the book, and to units that are there already what they lack.

    Importing again adds nothing. Entries are numbered anew after those that are
    there. Raises ``BadArchive`` for anything but an archive that is whole, does
    not gainsay the book, and brings nothing of later than a day after ``now``
    (RFC 3339, UTC, to the second); ``BadBook`` where the book cannot be written.
    The book is then as it was.
    """
    latest = a_day_after(now)
    with archive_at(source) as archive:
        for unit in units_in(archive):
            _lacking(book, archive, unit, _there(book, unit.id), latest)
        with book.store.writing():
            found = [_put(book, archive, unit, latest) for unit in units_in(archive)]
    return Imported(units=tuple(each for each, _ in found), documents=sum(added for _, added in found))


def _there(book: Book, id_: str) -> tuple[Entry, ...]:
    """The entries of the unit that the book has, none where it does not know the unit."""
    found = book.store.rows("SELECT key FROM unit WHERE id = ?", id_)
    return book.entries_by_key(found[0][0]) if found else ()


def _lacking(book: Book, archive: Archive, unit: UnitRead, there: Sequence[Entry], latest: str) -> list[Entry]:
    """The entries that the book does not have.

    Raises ``BadArchive`` where archive and book gainsay each other, and for an
    entry of later than ``latest``: what is recorded next would be put behind it.
    """
    known = {entry.id: written(entry).body for entry in there}
    lacking = []
    for entry in unit.entries:
        if entry.id in known:
            if known[entry.id] != written(entry).body:
                archive.refuse(f"holds entry {entry.id} of unit {unit.id} otherwise than {book.name} has it", _ASK)
        elif _has_other_unit(book, entry, unit):
            archive.refuse(f"holds entry {entry.id} of unit {unit.id}, which another unit has, too", _ASK)
        elif there and isinstance(entry.fact, Opened):
            archive.refuse(f"has unit {unit.id} opened by another entry than {book.name} has", _ASK)
        elif max(entry.at, entry.recorded_at) > latest:
            when = max(entry.at, entry.recorded_at)
            archive.refuse(f"holds entry {entry.id} of unit {unit.id} from a time that is yet to come ({when})", _CLOCK)
        else:
            lacking.append(entry)
    return lacking


def _has_other_unit(book: Book, entry: Entry, unit: UnitRead) -> bool:
    """Whether the book has an entry with another unit; this one may have got it only now, from another program."""
    statement = "SELECT 1 FROM entry JOIN unit ON unit.key = entry.unit WHERE entry.id = ? AND unit.id <> ?"
    return bool(book.store.rows(statement, bytes.fromhex(entry.id), unit.id))


def _put(book: Book, archive: Archive, unit: UnitRead, latest: str) -> tuple[UnitImported, int]:
    """What became of a unit, and the number of documents that were added; within a transaction."""
    key = _key(book, unit)
    there = book.entries_by_key(key)
    lacking = _lacking(book, archive, unit, there, latest)
    added = 0
    entries = [*there, *(replace(entry, number=number) for number, entry in enumerate(lacking, len(there) + 1))]
    if lacking:
        documents, added = _put_documents(book, key, unit)
        for entry in entries[len(there) :]:
            book.put(key, entry, documents)
        book.renew(key, entries)
    now = book.unit_by_id(unit.id)
    return UnitImported(unit=now, label=story(entries).label, new=not there, entries=len(lacking)), added


def _key(book: Book, unit: UnitRead) -> int:
    """The unit's row, held until the end of the transaction; made where there is none.

    Until its entries are there it has a label that no unit can have: the first letter is a space.
    """
    (opened,) = (entry for entry in unit.entries if isinstance(entry.fact, Opened))
    book.store.do(
        "INSERT INTO unit (id, label, folded, model, opened_at, changed_at, entries)"
        " VALUES (?, ?, ?, ?, ?, ?, 0) ON CONFLICT (id) DO NOTHING",
        *(unit.id, unit.id, f" {unit.id}", "", opened.at, ""),
    )
    ((key,),) = book.store.rows("SELECT key FROM unit WHERE id = ?{for_update}", unit.id)
    return int(key)


def _put_documents(book: Book, unit_key: int, unit: UnitRead) -> tuple[dict[str, int], int]:
    """The keys of a unit's documents by digest, and how many of them the book did not have."""
    keys: dict[str, int] = {}
    captures: list[int] = []
    added = 0
    for paper in unit.documents:
        add_serials(book.store, unit_key, paper.serials)
        added += not book.store.rows("SELECT 1 FROM document WHERE digest = ?", paper.raw_digest)
        key = kept(book.store, paper, captures[:1] if paper.kind == "capture" else ())
        keys[digest_text(paper.raw_digest)] = key
        if paper.kind == "capture":
            captures.append(key)
    return keys, added
