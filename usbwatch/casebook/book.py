"""The casebook: units, and all that was recorded of them. Entries are added and never changed.

Whatever is recorded together is recorded in one transaction: when a method
returns, it is on the disk; when it raises, nothing of it is in the book.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from usbwatch.capture.saved import Saved, saved_of_content
from usbwatch.casebook.entries import HIGHEST_ORDER, as_read, digests_in, entry_of, written
from usbwatch.casebook.finding import Found, find, units_with
from usbwatch.casebook.migrations import bring_up_to_date
from usbwatch.casebook.outcomes import put_outcomes
from usbwatch.casebook.packing import Paper, content_of, digest_text, kept, raw_digest
from usbwatch.casebook.rows import UNIT, escaped_like, unit_of
from usbwatch.casebook.rules import (
    checked_label,
    folded,
    refuse_beyond,
    refuse_opening,
    refuse_out_of_place,
    refuse_out_of_time,
    storable,
)
from usbwatch.casebook.serials import add_serials, serials_in
from usbwatch.casebook.store import Store
from usbwatch.casebook.story import Story, story
from usbwatch.errors import BadBook, BadEntry, NoUnit, Refused
from usbwatch.model import Experience
from usbwatch.model.history import Closed, Entry, Opened, PartSerial, Recorded, Unit
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.casebook.experience import Fared

__all__ = ["Book", "When", "paper_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class When:
    """The time of a recording, and who did it."""

    now: str
    """RFC 3339, UTC, to the second."""
    at: str = ""
    """When it happened, where that was told; else it is now."""
    by: str = ""


def paper_of(saved: Saved, serials: Sequence[PartSerial] = ()) -> Paper:
    """A capture on its way into the book; ``serials`` are those in it besides what firmware calls the unit's own."""
    from usbwatch.compare.serials import is_serial

    unit = saved.capture.unit
    own = (PartSerial(of="unit", serial=unit.product_serial),) if is_serial(unit.product_serial) else ()
    return Paper(
        kind="capture",
        content=saved.content,
        family=folded(f"{unit.sys_vendor} {unit.product_name}")[:200] or "?",
        serials=(*own, *serials),
    )


class Book:
    """A casebook in a store; its tables are brought up to date when it is opened.

    ``copy_kept`` is where a copy of the book in its earlier schema is, "" where
    nothing had to be brought up to date.
    """

    def __init__(self, store: Store) -> None:
        self.store = store
        try:
            self.copy_kept = bring_up_to_date(store)
        except BaseException:
            store.close()
            raise

    @property
    def name(self) -> str:
        """The file or server, fit to be shown."""
        return self.store.name

    def close(self) -> None:
        """Let go of the store."""
        self.store.close()

    def open_unit(
        self, opened: Opened, when: When, more: Sequence[Recorded] = (), papers: Sequence[Paper] = ()
    ) -> tuple[Unit, tuple[Entry, ...]]:
        """A new unit with its first entries. Raises ``Refused`` where the label is taken, or none."""
        refuse_opening(opened)
        opened = replace(opened, label=checked_label(opened.label))
        id_ = os.urandom(16).hex()
        with self.store.writing():
            self.store.do(
                "INSERT INTO unit (id, label, folded, model, opened_at, changed_at, entries)"
                " VALUES (?, ?, ?, ?, ?, ?, 0) ON CONFLICT (folded) DO NOTHING",
                *(id_, opened.label, folded(opened.label), opened.model, when.at or when.now, when.now),
            )
            if not self.store.rows("SELECT 1 FROM unit WHERE id = ?", id_):
                raise Refused(
                    f"there is a unit {opened.label} in the book",
                    f"choose another label, or, if it came back: usbwatch unit reopen {typed(opened.label)}",
                )
            entries = self._add(id_, (opened, *more), when, papers)
        return self.unit_by_id(id_), entries

    def record(
        self, unit: Unit, facts: Sequence[Recorded], when: When, papers: Sequence[Paper] = ()
    ) -> tuple[Entry, ...]:
        """Add entries to a unit's history. Raises ``Refused`` for what has no place there."""
        with self.store.writing():
            return self._add(unit.id, facts, when, papers)

    def draft_of_new(self, opened: Opened, facts: Sequence[Recorded], when: When) -> Story:
        """What a unit that is not open yet would come to. Raises ``Refused`` as opening it would."""
        refuse_opening(opened)
        entries: list[Entry] = []
        for fact in (opened, *facts):
            entries.append(_next_entry("", entries, fact, when))
        return story(entries)

    def draft(self, unit: Unit, facts: Sequence[Recorded], when: When) -> Story:
        """What the unit's entries would come to with these facts. Raises ``Refused`` as recording them would."""
        label, entries = self._label_and_entries(unit)
        before = story(entries)
        for fact in facts:
            entries.append(_next_entry(unit.id, entries, fact, when, label))
        told = story(entries)
        return replace(told, here=label) if told.opened.label == before.opened.label else told

    def _add(self, id_: str, facts: Sequence[Recorded], when: When, papers: Sequence[Paper]) -> tuple[Entry, ...]:
        """The same within a transaction; the unit's row is held until its end."""
        ((key, label),) = self.store.rows("SELECT key, label FROM unit WHERE id = ?{for_update}", id_)
        entries = list(self.entries_by_key(key))
        documents = self._papers_kept(key, papers)
        for fact in facts:
            entry = _readable(_next_entry(id_, entries, fact, when, label))
            self.put(key, entry, documents)
            entries.append(entry)
        self.renew(key, entries)
        return tuple(entries[len(entries) - len(facts) :])

    def _papers_kept(self, key: int, papers: Sequence[Paper]) -> dict[str, int]:
        resembling: list[int] = []
        if any(paper.family for paper in papers):
            first = self.store.rows(
                "SELECT document.key FROM entry_document JOIN document ON document.key = entry_document.document"
                " WHERE entry_document.unit = ? AND document.kind = 'capture' ORDER BY number LIMIT 1",
                key,
            )
            resembling = [row[0] for row in first]
        for paper in papers:
            add_serials(self.store, key, paper.serials)
        ordered = sorted(papers, key=lambda paper: paper.raw_digest)  # so that no two programs wait for each other
        return {digest_text(paper.raw_digest): kept(self.store, paper, resembling) for paper in ordered}

    def put(self, key: int, entry: Entry, documents: dict[str, int]) -> None:
        """Write one entry as it is, within a transaction; ``documents`` are keys by digest, of those just put in."""
        document = written(entry)
        self.store.do(
            "INSERT INTO entry (unit, number, id, digest, body) VALUES (?, ?, ?, ?, ?)",
            *(key, entry.number, bytes.fromhex(entry.id), document.digest, document.body),
        )
        for digest in digests_in(entry.fact):
            self.store.do(
                "INSERT INTO entry_document (unit, number, document) VALUES (?, ?, ?)",
                *(key, entry.number, documents[digest] if digest in documents else self._document_key(digest)),
            )
        add_serials(self.store, key, serials_in(entry.fact))

    def _document_key(self, digest: str) -> int:
        found = self.store.rows("SELECT key FROM document WHERE digest = ?", raw_digest(digest))
        if not found:
            raise Refused(f"the book has no document {digest}", "record it together with the document")
        return int(found[0][0])

    def renew(self, key: int, entries: Sequence[Entry]) -> None:
        """Write down what lists and searches need of a unit, as its entries now stand; within a transaction."""
        told = story(entries)
        label = self._free_label(key, told.label)
        self.store.do(
            "UPDATE unit SET label = ?, folded = ?, model = ?, ending = ?, changed_at = ?, entries = ? WHERE key = ?",
            *(label, folded(label), told.model, told.ending.value if told.ending else None),
            *(max(entry.recorded_at for entry in entries), len(entries), key),
        )
        if any(isinstance(entry.fact, Closed) for entry in entries):
            put_outcomes(self.store, key, told)

    def _free_label(self, key: int, label: str) -> str:
        """The label, or with a number behind it where another unit of this book, from elsewhere, has it."""
        wanted, number = label, 1
        while self.store.rows("SELECT 1 FROM unit WHERE folded = ? AND key <> ?", folded(wanted), key):
            number += 1
            wanted = f"{label} ({number})"
        return wanted

    def unit(self, asked: str) -> Unit:
        """The unit with this label, or whose id begins so (8 hex digits or more). Raises ``NoUnit``."""
        rows = self.store.rows(f"SELECT {UNIT} FROM unit WHERE folded = ?", folded(asked))  # noqa: S608 - a constant
        if not rows and len(asked) >= 8 and set(asked) <= set("0123456789abcdef"):  # noqa: PLR2004 - 32 bits
            rows = self.store.rows(
                f"SELECT {UNIT} FROM unit WHERE id >= ? AND id <= ? LIMIT 2",  # noqa: S608 - a constant
                asked,
                asked + "g",
            )
        if len(rows) != 1:
            raise NoUnit(asked, self._near(asked))
        return unit_of(rows[0], self.name)

    def _near(self, asked: str) -> tuple[str, ...]:
        """Labels that the words of what was asked occur in."""
        rows = self.store.rows(
            "SELECT label FROM unit WHERE folded LIKE ? ESCAPE '!' ORDER BY changed_at DESC LIMIT 3",
            f"%{escaped_like(folded(asked))}%",
        )
        return tuple(row[0] for row in rows)

    def unit_by_id(self, id_: str) -> Unit:
        """The unit with exactly this id. Raises ``NoUnit``."""
        rows = self.store.rows(f"SELECT {UNIT} FROM unit WHERE id = ?", id_)  # noqa: S608 - a constant
        if not rows:
            raise NoUnit(id_)
        return unit_of(rows[0], self.name)

    def units(self, *, closed: bool | None = None, model: str = "", limit: int = 1000) -> tuple[Unit, ...]:
        """Units, the one with the latest entry first; ``closed``: only such, or only those on the bench."""
        conditions = [] if closed is None else ["ending IS NOT NULL" if closed else "ending IS NULL"]
        if model:
            conditions.append("model = ?")
        where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
        rows = self.store.rows(
            f"SELECT {UNIT} FROM unit{where} ORDER BY changed_at DESC, key DESC LIMIT ?",  # noqa: S608 - constants
            *((storable(model),) if model else ()),
            limit,
        )
        return tuple(unit_of(row, self.name) for row in rows)

    def find(self, text: str, limit: int = 20) -> tuple[Found, ...]:
        """Units by a few letters of a label, serial number or model, or by the start of an id: what fits best first."""
        return find(self.store, text, limit)

    def units_with(self, serial: str, part: str = "unit") -> tuple[Unit, ...]:
        """The units whose ``part`` has or had exactly this serial number, the one with the latest entry first."""
        return units_with(self.store, serial, part)

    def experience(self, model: str) -> Experience:
        """What the shop's closed cases come to for one model."""
        from usbwatch.casebook.experience import experience

        return experience(self.store, model)

    def models(self) -> tuple[tuple[str, int, int], ...]:
        """The models that units have: id, closed cases, and units on the bench."""
        from usbwatch.casebook.experience import models

        return models(self.store)

    def fared(self, model: str) -> Fared:
        """How the units of one model fared."""
        from usbwatch.casebook.experience import fared

        return fared(self.store, model)

    def entries(self, unit: Unit) -> tuple[Entry, ...]:
        """All entries of a unit, by number."""
        return tuple(self._label_and_entries(unit)[1])

    def _label_and_entries(self, unit: Unit) -> tuple[str, list[Entry]]:
        """What this book calls the unit by now, and its entries by number."""
        ((key, label),) = self.store.rows("SELECT key, label FROM unit WHERE id = ?", unit.id)
        entries = list(self.entries_by_key(key))
        if not entries:
            raise self._without_opening()
        return label, entries

    def entries_by_key(self, key: int) -> tuple[Entry, ...]:
        """The same by the unit's key in the store; none of a unit that is just being put in."""
        rows = self.store.rows("SELECT number, body FROM entry WHERE unit = ? ORDER BY number", key)
        entries = tuple(entry_of(bytes(body), number) for number, body in rows)
        if entries and not any(isinstance(one.fact, Opened) for one in entries):
            raise self._without_opening()
        return entries

    def _without_opening(self) -> BadBook:
        return BadBook(self.name, "is damaged: it has lost the entry that opened a unit", "put a copy of it back")

    def story(self, unit: Unit) -> Story:
        """What the unit's entries come to, under the label by which this book knows the unit."""
        label, entries = self._label_and_entries(unit)
        return replace(story(entries), here=label)

    def saved_capture(self, digest: str) -> Saved:
        """A capture of the book with its document. Raises ``BadBook`` where it is not there or damaged."""
        return saved_of_content(self.content(digest), f"{digest[:15]}… of {self.name}")

    def content(self, digest: str) -> bytes:
        """The content of a document of the book. Raises ``BadBook`` where it is not there or damaged."""
        try:
            return content_of(self.store, raw_digest(digest))
        except (KeyError, ValueError):
            raise BadBook(self.name, f"has no document {digest}", "import the unit again from its archive") from None


def _next_entry(unit: str, before: Sequence[Entry], fact: Recorded, when: When, label: str = "") -> Entry:
    """The next entry of a unit of this label. Raises ``Refused`` for what has no place in its history."""
    refuse_beyond(fact)
    entry = _entry(unit, before, fact, when)
    if before:
        told = replace(story(before), here=label)
        refuse_out_of_place(fact, told)
        refuse_out_of_time(entry, told)
    return entry


def _readable(entry: Entry) -> Entry:
    """The entry as it will be read. Raises ``Refused`` for one that could not be got out again."""
    try:
        return as_read(entry)
    except BadEntry as error:
        remedy = "record less at once, or attach it as a file"
        raise Refused(f"what is to be recorded {error.problem}", remedy) from None


def _entry(unit: str, before: Sequence[Entry], fact: Recorded, when: When) -> Entry:
    """The next entry of a unit; a clock that was set back does not put it before the last one."""
    return Entry(
        id=os.urandom(16).hex(),
        unit=unit,
        number=len(before) + 1,
        order=min(max((one.order for one in before), default=-1) + 1, HIGHEST_ORDER),
        at=when.at or max([when.now, *(one.at for one in before)]),
        recorded_at=when.now,
        by=when.by,
        fact=fact,
    )
