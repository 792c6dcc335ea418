"""A book of 100,000 units and 1,000,000 captures: how large it is, and what it costs to find and show a unit in it.

Run: ``python -m benchmarks.casebook.size --address FILE.sqlite [--units 100000] [--captures 1000000]``; a book that is
there already is only measured. The captures are the shipped ones of the invented models, with other times, serial
numbers and battery values, and many with one device taken out (``benchmarks/casebook/content.py``); every one of them
differs. They are packed and written by the casebook's own functions; only the rows are put in by thousands, without the
checks of what has a place in a history. The first unit has 500 entries.

The peer, on each twentieth capture of the same run: the canonical JSON compressed by zlib (RFC 1950) at its default
level, each for itself. CPU is ``process_time`` at the end of a fresh process, with Python's own start and all imports,
and of the operation alone; the median of several.
"""

from __future__ import annotations

import argparse
import random
import statistics
import subprocess
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from benchmarks.casebook.content import capture_paper, moment, templates
from benchmarks.casebook.writers import ROOT
from usbwatch.casebook import Paper, open_book
from usbwatch.casebook.entries import written
from usbwatch.casebook.packing import digest_text, pack
from usbwatch.casebook.rules import folded
from usbwatch.casebook.serials import folded_serial
from usbwatch.model.history import Answered, Captured, Entry, Noted, Opened, Recorded, StepDone
from usbwatch.model.steps import Step, StepKind

__all__ = ["generated", "main", "measured"]

_AT_ONCE = 500
"""Units of one transaction."""
_ENTRIES_OF_THE_FIRST = 500
_FIRST_CAPTURE = 2
"""The number of its entry."""
_PEER_EVERY = 20
_ROUNDS = 5
_BAR_MS = 100


@dataclass(slots=True, kw_only=True)
class Piece:
    """What one worker makes of a range of units: rows without keys, in the order of the units."""

    units: list[tuple[object, ...]] = field(default_factory=list)
    entries: list[tuple[int, int, bytes, bytes, bytes]] = field(default_factory=list)
    """Unit, number, id, digest, body."""
    documents: list[tuple[bytes, str, int, bytes]] = field(default_factory=list)
    """Digest, family, size, packed against the family's base."""
    links: list[tuple[int, int, bytes]] = field(default_factory=list)
    """Unit, number, digest of the document."""
    serials: list[tuple[str, int, str, str]] = field(default_factory=list)
    zlib_bytes: int = 0
    zlib_of: int = 0

    def add(self, key: int, number: int, entry: Entry, paper: Paper | None, base: bytes) -> None:
        """One entry with its capture."""
        document = written(entry)
        self.entries.append((key, number, bytes.fromhex(entry.id), document.digest, document.body))
        if paper is None:
            return
        if len(self.documents) % _PEER_EVERY == 0:
            self.zlib_bytes += len(zlib.compress(paper.content))
            self.zlib_of += 1
        self.documents.append((paper.raw_digest, paper.family, len(paper.content), pack(paper.content, base)))
        self.links.append((key, number, paper.raw_digest))
        if number == _FIRST_CAPTURE:  # the serial numbers of a unit are the same in each of its captures
            self.serials += [(folded_serial(one.serial), key, one.of, one.serial) for one in paper.serials]


def _bases() -> dict[str, Paper]:
    """The capture of each family that is kept whole: of unit 0, healthy."""
    draw = random.Random(0)
    return {one.family: capture_paper(one, 0, 0, draw) for one in templates()}


def _facts(key: int, captures: int, draw: random.Random) -> Iterator[tuple[Recorded, Paper | None]]:
    """An invented unit's way over the bench: captures, with steps and answers between."""
    models = sorted({one.model for one in templates()})
    model = models[key % len(models)]
    own = [one for one in templates() if one.model == model]
    yield Opened(label=f"LB-{key:06d}", model=model), None
    for look in range(captures):
        paper = capture_paper(draw.choice(own), key, look, draw)
        yield Captured(capture=digest_text(paper.raw_digest), taken_at=moment(key * 7200 + look * 300)), paper
        if look == 1:
            yield StepDone(step=Step(kind=StepKind.RESEAT, of="top-case-flex"), minutes=18, result="no change"), None
        if look == 2:  # noqa: PLR2004 - any place would do
            yield Answered(check="runs-on-battery", yes=bool(key % 2)), None
    if key == 1:
        for number in range(_ENTRIES_OF_THE_FIRST - captures - 3):
            yield Noted(text=f"note {number}, as long as a note of a bench may be: the flex was cleaned"), None


def piece(keys: range, captures: int, seed: int) -> Piece:
    """The rows of some units."""
    draw = random.Random(seed)
    bases = _bases()
    made = Piece()
    for key in keys:
        id_, label, model, at, number = f"{draw.getrandbits(128):032x}", f"LB-{key:06d}", "", "", 0
        for number, (fact, paper) in enumerate(_facts(key, captures, draw), 1):
            at = moment(key * 7200 + number * 60)
            model = fact.model if isinstance(fact, Opened) else model
            entry_id = f"{draw.getrandbits(128):032x}"
            entry = Entry(id=entry_id, unit=id_, number=number, at=at, recorded_at=at, fact=fact, by="bench 1")
            made.add(key, number, entry, paper, bases[paper.family].content if paper else b"")
        made.units.append((key, id_, label, folded(label), model, None, moment(key * 7200 + 60), at, number))
    return made


def generated(address: str, units: int, captures: int) -> tuple[int, int]:
    """Make the book; the bytes that zlib takes for some of its captures, and how many these are."""
    import sqlite3

    open_book(address).close()
    connection = sqlite3.connect(address, isolation_level=None)
    for name, value in {"foreign_keys": "ON", "synchronous": "OFF", "cache_size": "-400000"}.items():
        connection.execute(f"PRAGMA {name} = {value}")  # a book that can be made again
    for base in _bases().values():
        connection.execute(
            "INSERT INTO document (digest, kind, family, size, base, packed) VALUES (?, 'capture', ?, ?, NULL, ?)",
            (base.raw_digest, base.family, len(base.content), pack(base.content)),
        )
    base_keys = dict(connection.execute("SELECT family, key FROM document").fetchall())
    ranges = [range(first, min(first + _AT_ONCE, units + 1)) for first in range(1, units + 1, _AT_ONCE)]
    next_key = len(base_keys) + 1
    zlib_bytes = zlib_of = 0
    with ProcessPoolExecutor() as pool:
        for made in pool.map(piece, ranges, [captures // units] * len(ranges), range(len(ranges))):
            keys = {digest: next_key + place for place, (digest, *_) in enumerate(made.documents)}
            next_key += len(keys)
            zlib_bytes, zlib_of = zlib_bytes + made.zlib_bytes, zlib_of + made.zlib_of
            connection.execute("BEGIN")
            _put(connection.executemany, made, keys, base_keys)
            connection.execute("COMMIT")
    connection.close()
    return zlib_bytes, zlib_of


def _put(many: Callable[..., object], made: Piece, keys: dict[bytes, int], base_keys: dict[str, int]) -> None:
    """Write some units down, within a transaction."""
    many(
        "INSERT INTO document (key, digest, kind, family, size, base, packed) VALUES (?, ?, 'capture', ?, ?, ?, ?)",
        [
            (keys[digest], digest, family, size, base_keys[family], packed)
            for digest, family, size, packed in made.documents
        ],
    )
    many(
        "INSERT INTO unit (key, id, label, folded, model, ending, opened_at, changed_at, entries)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        made.units,
    )
    many("INSERT INTO entry (unit, number, id, digest, body) VALUES (?, ?, ?, ?, ?)", made.entries)
    many(
        "INSERT INTO entry_document (unit, number, document) VALUES (?, ?, ?)",
        [(unit, number, keys[digest]) for unit, number, digest in made.links],
    )
    many("INSERT INTO serial (folded, unit, part, shown) VALUES (?, ?, ?, ?)", made.serials)


_MEASURED = """
import sys, time
from usbwatch.casebook import open_book
begun = time.process_time()
{before}
middle = time.process_time()
{work}
ended = time.process_time()
print(ended, ended - middle, middle - begun)
"""
_OPEN = "book = open_book(sys.argv[1], must_exist=True)"


def operations(units: int) -> dict[str, tuple[str, str]]:
    """What is measured, as what comes before it and the work itself; a unit in the midst of the book."""
    middle = units // 2
    label, serial = f"LB-{middle:06d}", f"LG-BAT{middle:06d}-DEMO"
    return {
        "open the book": ("", _OPEN),
        "a unit by its label": (_OPEN, f"assert book.unit('{label}').label == '{label}'"),
        "search: label": (_OPEN, f"assert book.find('{label}')[0].by == 'label'"),
        "search: beginning of a label": (_OPEN, f"assert len(book.find('{label[:-1]}')) >= 10"),
        "search: part of a label": (_OPEN, f"assert book.find('{label[4:]}')[0].unit.label == '{label}'"),
        "search: serial": (_OPEN, f"assert book.find('{serial}')[0].unit.label == '{label}'"),
        "search: beginning of a serial": (_OPEN, f"assert book.find('{serial[:-6]}')"),
        "search: part of a serial": (_OPEN, f"assert book.find('T{middle:06d}-DE')[0].by == 'serial'"),
        "search: part of a model": (_OPEN, "assert book.find('larch')[0].by == 'model'"),
        "search: nothing": (_OPEN, "assert book.find('no such thing') == ()"),
        "a label that is not there": (_OPEN, _NOT_THERE),
        "list: 1000 units": (_OPEN, "assert len(book.units()) >= 900"),
        "show: a unit with 10 captures": (_OPEN, f"told = book.story(book.unit('{label}'))\n{_TEN}"),
        "show: one with 500 entries": (_OPEN, f"told = book.story(book.unit('LB-000001'))\n{_ALL}"),
        "show, and read its latest capture": (_OPEN, f"told = book.story(book.unit('{label}'))\n{_LATEST}"),
    }


_NOT_THERE = """
from usbwatch.errors import NoUnit
try:
    book.unit("no such label")
except NoUnit:
    pass
"""
_TEN = "assert sum(hasattr(each.fact, 'capture') for each in told.standings) == 10"
_ALL = f"assert len(told.standings) == {_ENTRIES_OF_THE_FIRST}"
_LATEST = """
latest = [each.fact.capture for each in told.standings if hasattr(each.fact, 'capture')][-1]
assert book.saved_capture(latest).capture.nodes
"""


def measured(address: str, units: int) -> dict[str, tuple[float, float]]:
    """Median CPU milliseconds of each: of a whole fresh process, and of the work alone."""
    found = {}
    for name, (before, work) in operations(units).items():
        script = _MEASURED.format(before=before, work=work)
        rounds = []
        for _ in range(_ROUNDS):
            out = subprocess.check_output([sys.executable, "-c", script, address], cwd=ROOT, text=True)
            rounds.append([1000 * float(figure) for figure in out.split()[:2]])
        found[name] = (statistics.median(one[0] for one in rounds), statistics.median(one[1] for one in rounds))
    return found


def main() -> None:
    """Make the book unless it is there, and print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--address", required=True)
    parser.add_argument("--units", type=int, default=100_000)
    parser.add_argument("--captures", type=int, default=1_000_000)
    asked = parser.parse_args()
    path = Path(asked.address)
    if not path.exists():
        begun = time.monotonic()
        zlib_bytes, zlib_of = generated(asked.address, asked.units, asked.captures)
        print(f"made in {time.monotonic() - begun:.0f} s; zlib alone: {zlib_bytes / zlib_of:.0f} bytes a capture")
    book = open_book(asked.address)
    ((count, packed, size),) = book.store.rows(
        "SELECT count(*), sum(length(packed)), sum(size) FROM document WHERE kind = 'capture'"
    )
    ((units,),) = book.store.rows("SELECT count(*) FROM unit")
    book.close()
    print(f"{units} units, {count} captures, a file of {path.stat().st_size / 1e6:.0f} MB")
    print(
        f"bytes a capture: {path.stat().st_size / count:.0f} of the whole file, {packed / count:.0f} packed, "
        f"{size / count:.0f} as canonical JSON"
    )
    print(f"CPU ms, median of {_ROUNDS}         fresh process   operation (bar {_BAR_MS})")
    for name, (whole, work) in measured(asked.address, units).items():
        print(f"{name:36s}{whole:8.1f}{work:12.1f}{'   OVER' if work > _BAR_MS else ''}")


if __name__ == "__main__":
    main()
