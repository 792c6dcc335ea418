"""Whether a book has all that was acknowledged, each once, and nothing that is broken."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from usbwatch.casebook import Book
from usbwatch.casebook.entries import digests_in, entry_of
from usbwatch.casebook.packing import content_of, digest_text

__all__ = ["Acknowledged", "acknowledged", "faults"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledged:
    """What the writers' logs say."""

    entries: dict[str, tuple[str, str]]
    """Unit and digest by entry."""
    documents: frozenset[str]
    latencies_us: tuple[int, ...]
    errors: tuple[str, ...]


def acknowledged(logs: Iterable[Path]) -> Acknowledged:
    """All complete lines of the logs; the last one of a writer that was killed may be cut, and was then never told."""
    entries: dict[str, tuple[str, str]] = {}
    documents: set[str] = set()
    latencies: list[int] = []
    errors: list[str] = []
    for log in logs:
        for line in log.read_text().split("\n")[:-1]:
            if line.startswith("!"):
                errors.append(line[2:])
                continue
            took, unit, *rest = line.split(" ")
            latencies.append(int(took))
            documents.update(each for each in rest if each.startswith("sha256:"))
            for each in rest:
                if not each.startswith("sha256:"):
                    id_, digest = each.split(":")
                    if id_ in entries:
                        raise AssertionError(f"{log} acknowledges {id_} a second time")
                    entries[id_] = (unit, digest)
    return Acknowledged(
        entries=entries, documents=frozenset(documents), latencies_us=tuple(latencies), errors=tuple(errors)
    )


def faults(book: Book, told: Acknowledged, *, with_documents: bool = True) -> list[str]:
    """What is wrong: one line each, none for a book that has kept its word."""
    found: list[str] = []
    rows = book.store.rows(
        "SELECT unit.id, unit.entries, entry.number, entry.id, entry.digest, entry.body"
        " FROM entry JOIN unit ON unit.key = entry.unit ORDER BY unit.id, entry.number"
    )
    there: dict[str, tuple[str, str]] = {}
    numbers: dict[str, list[int]] = {}
    promised: dict[str, int] = {}
    spoken_of: set[str] = set()
    for unit, count, number, id_, digest, body in rows:
        entry = entry_of(bytes(body), number)
        if entry.id in there:
            found.append(f"entry {entry.id} is there twice")
        if (entry.id, entry.unit, hashlib.sha256(body).digest()) != (bytes(id_).hex(), unit, bytes(digest)):
            found.append(f"entry {entry.id} is not what its row says")
        there[entry.id] = (unit, bytes(digest).hex())
        numbers.setdefault(unit, []).append(number)
        promised[unit] = count
        spoken_of.update(digests_in(entry.fact))
    found += [f"entry {id_} is lost" for id_ in told.entries if id_ not in there]
    found += [f"entry {id_} differs" for id_, was in told.entries.items() if there.get(id_, was) != was]
    for unit, given in numbers.items():
        if given != list(range(1, promised[unit] + 1)):
            found.append(f"unit {unit} has entries {given[:5]}…, and should have 1 to {promised[unit]}")
    ((units,),) = book.store.rows("SELECT count(*) FROM unit")
    if units != len(numbers):
        found.append(f"{units - len(numbers)} units have no entry")
    damage = book.store.damage()
    return found + ([damage] if damage else []) + (_documents(book, told, spoken_of) if with_documents else [])


def _documents(book: Book, told: Acknowledged, spoken_of: set[str]) -> list[str]:
    """Every document comes out as what its digest says, and all that entries speak of are there."""
    rows = [bytes(digest) for (digest,) in book.store.rows("SELECT digest FROM document ORDER BY key")]
    for digest in rows:
        content_of(book.store, digest)  # raises for a digest that does not fit
    count = Counter(digest_text(digest) for digest in rows)
    loose = book.store.rows(
        "SELECT count(*) FROM entry_document LEFT JOIN document ON document.key = entry_document.document"
        " LEFT JOIN entry ON entry.unit = entry_document.unit AND entry.number = entry_document.number"
        " WHERE document.key IS NULL OR entry.id IS NULL"
    )
    found = [f"document {digest} is there {count[digest]} times" for digest in told.documents if count[digest] != 1]
    found += [f"document {digest} is spoken of and not there" for digest in spoken_of if count[digest] != 1]
    return found + ([f"{loose[0][0]} links of entries lead nowhere"] if loose != [(0,)] else [])
