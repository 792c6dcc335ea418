"""The casebook: units, and all that was recorded of them. Entries are added and never changed.

Whatever is recorded together is recorded in one transaction: when a method
returns, it is on the disk; when it raises, nothing of it is in the book.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass

from usbwatch.capture.saved import Saved, saved_of_content
from usbwatch.casebook.entries import HIGHEST_ORDER, digests_in, entry_of, written
from usbwatch.casebook.migrations import bring_up_to_date
from usbwatch.casebook.packing import Paper, content_of, digest_text, kept, raw_digest
from usbwatch.casebook.rules import folded, refuse_opening, refuse_out_of_place
from usbwatch.casebook.store import Row, Store
from usbwatch.casebook.story import Story, story
from usbwatch.errors import BadBook, BadEntry, NoUnit, Refused
from usbwatch.model.history import Ending, Entry, Opened, Recorded, Unit

__all__ = ["Book", "When", "paper_of"]

_UNIT = "unit.id, unit.label, unit.model, unit.ending, unit.opened_at, unit.changed_at, unit.entries"


@dataclass(frozen=True, slots=True, kw_only=True)
class When:
    """The time of a recording, and who did it."""

    now: str
    """RFC 3339, UTC, to the second."""
    at: str = ""
    """When it happened, where that was told; else it is now."""
    by: str = ""


def paper_of(saved: Saved) -> Paper:
    """A capture on its way into the book."""
    unit = saved.capture.unit
    family = folded(f"{unit.sys_vendor} {unit.product_name}").encode("utf-8", "backslashreplace").decode()
    return Paper(kind="capture", content=saved.content, family=family.replace("\0", "")[:200] or "?")


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
        id_ = secrets.token_hex(16)
        with self.store.writing():
            if self.store.rows("SELECT 1 FROM unit WHERE folded = ?", folded(opened.label)):
                raise Refused(
                    f"there is a unit {opened.label} in the book",
                    f"choose another label, or, if it came back: usbwatch unit reopen {opened.label}",
                )
            self.store.do(
                "INSERT INTO unit (id, label, folded, model, opened_at, changed_at, entries)"
                " VALUES (?, ?, ?, ?, ?, ?, 0)",
                *(id_, opened.label, folded(opened.label), opened.model, when.at or when.now, when.now),
            )
            entries = self._add(id_, (opened, *more), when, papers)
        return self.unit_by_id(id_), entries

    def record(
        self, unit: Unit, facts: Sequence[Recorded], when: When, papers: Sequence[Paper] = ()
    ) -> tuple[Entry, ...]:
        """Add entries to a unit's history. Raises ``Refused`` for what has no place there."""
        with self.store.writing():
            return self._add(unit.id, facts, when, papers)

    def _add(self, id_: str, facts: Sequence[Recorded], when: When, papers: Sequence[Paper]) -> tuple[Entry, ...]:
        """The same within a transaction; the unit's row is held until its end."""
        ((key,),) = self.store.rows("SELECT key FROM unit WHERE id = ?{for_update}", id_)
        entries = list(self.entries_by_key(key))
        documents = self._papers_kept(key, papers)
        for fact in facts:
            if entries:
                refuse_out_of_place(fact, story(entries))
            at = when.at or max([when.now, *(one.at for one in entries)])
            entry = Entry(
                id=secrets.token_hex(16),
                unit=id_,
                number=len(entries) + 1,
                order=_order(entries),
                at=at,
                recorded_at=when.now,
                by=when.by,
                fact=fact,
            )
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
        return {digest_text(paper.raw_digest): kept(self.store, paper, resembling) for paper in papers}

    def put(self, key: int, entry: Entry, documents: dict[str, int]) -> None:
        """Write one entry as it is, within a transaction; ``documents`` are keys by digest, of those just put in."""
        document = written(entry)
        _refuse_unreadable(entry, document.body)
        self.store.do(
            "INSERT INTO entry (unit, number, id, digest, body) VALUES (?, ?, ?, ?, ?)",
            *(key, entry.number, bytes.fromhex(entry.id), document.digest, document.body),
        )
        for digest in digests_in(entry.fact):
            self.store.do(
                "INSERT INTO entry_document (unit, number, document) VALUES (?, ?, ?)",
                *(key, entry.number, documents[digest] if digest in documents else self._document_key(digest)),
            )

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

    def _free_label(self, key: int, label: str) -> str:
        """The label, or with a number behind it where another unit of this book, from elsewhere, has it."""
        wanted, number = label, 1
        while self.store.rows("SELECT 1 FROM unit WHERE folded = ? AND key <> ?", folded(wanted), key):
            number += 1
            wanted = f"{label} ({number})"
        return wanted

    def unit(self, asked: str) -> Unit:
        """The unit with this label, or whose id begins so (8 hex digits or more). Raises ``NoUnit``."""
        rows = self.store.rows(f"SELECT {_UNIT} FROM unit WHERE folded = ?", folded(asked))  # noqa: S608 - a constant
        if not rows and len(asked) >= 8 and set(asked) <= set("0123456789abcdef"):  # noqa: PLR2004 - 32 bits
            rows = self.store.rows(
                f"SELECT {_UNIT} FROM unit WHERE id >= ? AND id <= ? LIMIT 2",  # noqa: S608 - a constant
                asked,
                asked + "g",
            )
        if len(rows) != 1:
            raise NoUnit(asked, self._near(asked))
        return _unit(rows[0])

    def _near(self, asked: str) -> tuple[str, ...]:
        """Labels that the words of what was asked occur in."""
        rows = self.store.rows(
            "SELECT label FROM unit WHERE folded LIKE ? ESCAPE '!' ORDER BY changed_at DESC LIMIT 3",
            f"%{escaped_like(folded(asked))}%",
        )
        return tuple(row[0] for row in rows)

    def unit_by_id(self, id_: str) -> Unit:
        """The unit with exactly this id. Raises ``NoUnit``."""
        rows = self.store.rows(f"SELECT {_UNIT} FROM unit WHERE id = ?", id_)  # noqa: S608 - a constant
        if not rows:
            raise NoUnit(id_)
        return _unit(rows[0])

    def units(self, *, closed: bool | None = None, model: str = "", limit: int = 1000) -> tuple[Unit, ...]:
        """Units, the one with the latest entry first; ``closed``: only such, or only those on the bench."""
        conditions = [] if closed is None else ["ending IS NOT NULL" if closed else "ending IS NULL"]
        if model:
            conditions.append("model = ?")
        where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
        rows = self.store.rows(
            f"SELECT {_UNIT} FROM unit{where} ORDER BY changed_at DESC, key DESC LIMIT ?",  # noqa: S608 - constants
            *((model,) if model else ()),
            limit,
        )
        return tuple(_unit(row) for row in rows)

    def entries(self, unit: Unit) -> tuple[Entry, ...]:
        """All entries of a unit, by number."""
        ((key,),) = self.store.rows("SELECT key FROM unit WHERE id = ?", unit.id)
        return self.entries_by_key(key)

    def entries_by_key(self, key: int) -> tuple[Entry, ...]:
        """The same by the unit's key in the store."""
        rows = self.store.rows("SELECT number, body FROM entry WHERE unit = ? ORDER BY number", key)
        return tuple(entry_of(bytes(body), number) for number, body in rows)

    def story(self, unit: Unit) -> Story:
        """What the unit's entries come to."""
        return story(self.entries(unit))

    def saved_capture(self, digest: str) -> Saved:
        """A capture of the book with its document. Raises ``BadBook`` where it is not there or damaged."""
        return saved_of_content(self.content(digest), f"{digest[:15]}… of {self.name}")

    def content(self, digest: str) -> bytes:
        """The content of a document of the book. Raises ``BadBook`` where it is not there or damaged."""
        try:
            return content_of(self.store, raw_digest(digest))
        except (KeyError, ValueError):
            raise BadBook(self.name, f"has no document {digest}", "import the unit again from its archive") from None


def _order(entries: Sequence[Entry]) -> int:
    """After all that the book has of the unit, wherever that was written down."""
    return min(max((one.order for one in entries), default=-1) + 1, HIGHEST_ORDER)


def _refuse_unreadable(entry: Entry, body: bytes) -> None:
    """Nothing is put in that could not be got out again."""
    try:
        entry_of(body, entry.number)
    except BadEntry as error:
        raise Refused(
            f"what is to be recorded {error.problem}", "record less at once, or attach it as a file"
        ) from None


def escaped_like(text: str) -> str:
    """Text for ``LIKE … ESCAPE '!'``, in which nothing stands for anything but itself.

    >>> escaped_like("50%_!")
    '50!%!_!!'
    """
    return "".join(f"!{letter}" if letter in "!%_" else letter for letter in text)


def _unit(row: Row) -> Unit:
    id_, label, model, ending, opened_at, changed_at, entries = row
    return Unit(
        id=id_,
        label=label,
        model=model,
        ending=Ending(ending) if ending is not None else None,
        opened_at=opened_at,
        changed_at=changed_at,
        entries=entries,
    )
