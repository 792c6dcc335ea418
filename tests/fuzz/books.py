"""Targets: casebooks whose file or rows are not as the program wrote them, archives of units, entries."""

from __future__ import annotations

import functools
import hashlib
import json
import sqlite3
from collections.abc import Iterable
from contextlib import closing, suppress
from pathlib import Path
from random import Random

from fuzz.files import in_memory, written
from fuzz.structure import in_json, in_lines
from fuzz.target import Broken, Target, clean
from support.archives import GOOD, OPENED, STREAM, canonical, entry, manifest, stored, unit_block, whole
from support.bench import small_capture
from support.fresh_book import fresh_book
from support.make_casebook import fill

from usbwatch.capture.saved import saved_of
from usbwatch.casebook import Book, Paper, When, open_book, paper_of
from usbwatch.casebook.entries import as_read, digests_in, entry_of
from usbwatch.casebook.entries import written as entry_written
from usbwatch.casebook.exchange import export_units, import_units
from usbwatch.casebook.exchange.manifest import manifest_of
from usbwatch.casebook.packing import digest_text
from usbwatch.casebook.serials import serials_in
from usbwatch.casebook.story import looks, story
from usbwatch.errors import BadArchive, UsbwatchError
from usbwatch.model import Step, StepKind
from usbwatch.model.history import Attached, Captured, Closed, Ending, Noted, Opened, StepDone, Unit
from usbwatch.show import plain
from usbwatch.show.unit_view import unit_view

__all__ = ["TARGETS", "small_book"]

_NOW = "2026-04-01T08:00:00Z"


@functools.cache
def small_book() -> bytes:
    """A book of one unit with a capture, a step, a file and an ending, as a file without its log."""
    path = in_memory() / "small.sqlite"
    with closing(open_book(str(path))) as book:
        when = When(now="2026-03-02T09:00:00Z", by="bench 1")
        unit, _ = book.open_unit(Opened(label="LB-0001", model="plover-small"), when)
        saved = saved_of(small_capture(keyboard=False))
        photo = Paper(kind="file", content=b"an invented photo")
        attached = Attached(file=digest_text(photo.raw_digest), name="board.jpg", size=len(photo.content))
        step = StepDone(step=Step(kind=StepKind.SWAP, of="top-case"), minutes=60)
        book.record(unit, [Captured(capture=saved.digest, taken_at=saved.capture.taken_at)], when, [paper_of(saved)])
        book.record(unit, [step, Noted(text="waits"), attached, Closed(ending=Ending.REPAIRED)], when, [photo])
        book.store.do("PRAGMA journal_mode = DELETE")
    return path.read_bytes()


def _everything(book: Book) -> None:
    """All that a book can be asked for, as the commands ask it; what is damaged is told, and the rest goes on."""
    units: tuple[Unit, ...] = ()
    with suppress_told():
        units = book.units()
    for unit in units:
        with suppress_told():
            told = book.story(unit)
            clean(plain(unit_view(unit, told, None, 80, lambda moment: moment), 80))
            for look in looks(told):
                book.saved_capture(look.capture)
        with suppress_told():
            for one in book.entries(unit):
                for digest in digests_in(one.fact):
                    book.content(digest)
    with suppress_told():
        book.find("LB")
        book.units_with("LG-0002-DEMO")
    with suppress_told():
        book.models()
        book.experience("plover-small")
        book.fared("plover-small")


class suppress_told(suppress):  # noqa: N801 - reads as the library's own
    """Goes on after an error that says in a clean sentence what is wrong."""

    def __init__(self) -> None:
        super().__init__(UsbwatchError)

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: object) -> bool:
        if isinstance(error, UsbwatchError):
            clean(str(error))
        return bool(super().__exit__(kind, error, trace))  # type: ignore[arg-type] # as it was given


def _book_file(data: bytes) -> None:
    """A book's file; its pages may be changed, cut or anything else."""
    _opened(data)


def _opened(data: bytes) -> None:
    path = written("book.sqlite", data)
    for beside in ("-wal", "-shm", "-journal"):
        Path(path + beside).unlink(missing_ok=True)
    with closing(open_book(path, must_exist=True)) as book:
        _everything(book)
        with suppress_told():
            book.open_unit(Opened(label="LB-0099"), When(now=_NOW))


@functools.cache
def _books() -> tuple[bytes, ...]:
    """The small book; and one of the first schema, which is brought up to date when it is opened."""
    return small_book(), (Path(__file__).parents[1] / "data/casebooks/schema-1.sqlite").read_bytes()


@functools.cache
def _columns(which: int) -> tuple[tuple[str, str], ...]:
    """Every column of every table of a book."""
    with closing(sqlite3.connect(written("columns.sqlite", _books()[which]))) as book:
        tables = [name for (name,) in book.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
        return tuple((table, row[1]) for table in tables for row in book.execute(f"PRAGMA table_info({table})"))


def _book_rows(data: bytes) -> None:
    """A sound file in which another program wrote: each edit a column, a row and a value; tables hold any type then."""
    which = data[0] % 2 if data else 0
    path = written("rows.sqlite", _books()[which])
    columns = _columns(which)
    with closing(sqlite3.connect(path, isolation_level=None)) as book:
        book.execute("PRAGMA writable_schema = ON")
        at = 1
        while at + 4 <= len(data) and at < 2000:
            (table, column), row = columns[data[at] % len(columns)], data[at + 1]
            kind, length = data[at + 2] % 5, data[at + 3]
            content = data[at + 4 : at + 4 + length]
            at += 4 + length
            value: object = (
                content,
                content.decode("utf-8", "replace"),
                int.from_bytes(content[:8], "little", signed=True),
                None,
                0.5,
            )[kind]
            rows = f"(SELECT {column} FROM {table} LIMIT 1 OFFSET {row % 8})"  # whatever the table's key is called
            with suppress(sqlite3.Error, OverflowError):
                book.execute(f"UPDATE {table} SET {column} = ? WHERE {column} IS {rows}", (value,))
    _opened(Path(path).read_bytes())


def _archive(data: bytes) -> None:
    """As it is; and as the stream of units of an archive that is sound."""
    for content in (data, whole(data), stored(data)):
        _taken_in(content)


def _archive_file(data: bytes) -> None:
    _taken_in(data)


@functools.cache
def _empty() -> bytes:
    path = in_memory() / "empty.sqlite"
    with closing(open_book(str(path))) as book:
        book.store.do("PRAGMA journal_mode = DELETE")
    return path.read_bytes()


def _taken_in(content: bytes) -> None:
    """What is taken in can be shown and goes out again; what is refused leaves the book as it was."""
    with closing(open_book(written("into.sqlite", _empty()), must_exist=True)) as book:
        try:
            import_units(book, written("units.zip", content), now=_NOW)
        except BadArchive as error:
            clean(str(error))
            if book.units():
                raise Broken("a refused archive left a unit behind") from error
            return
        _everything(book)
        with Path(written("out.zip", b"")).open("w+b") as target:
            export_units(book, None, target, _NOW)


def _stream_seeds() -> Iterable[bytes]:
    yield STREAM
    yield unit_block(
        [OPENED, entry(2, {"kind": "note", "text": "x"}), entry(3, {"kind": "close", "ending": "repaired"})]
    )
    content = saved_of(small_capture()).content
    digest = f"sha256:{hashlib.sha256(content).hexdigest()}"
    captured = entry(
        2, {"kind": "capture", "capture": digest, "taken_at": "2026-11-24T14:05:00Z"}, at="2026-03-02T09:00:02Z"
    )
    yield unit_block([OPENED, captured], [({"document": digest, "kind": "capture", "size": len(content)}, content)])
    photo = b"photo"
    digest = f"sha256:{hashlib.sha256(photo).hexdigest()}"
    attached = entry(2, {"kind": "file", "file": digest, "name": "a.jpg", "size": 5})
    yield unit_block([OPENED, attached], [({"document": digest, "kind": "file", "size": 5}, photo)])


def _other_stream(data: bytes, chance: Random) -> bytes:
    """The stream with one of its lines changed as a document, written canonically, and the digests in it mended."""
    lines = data.split(b"\n")
    at = chance.randrange(len(lines))
    changed = in_json(lines[at], chance)
    try:
        lines[at] = canonical(json.loads(changed))
    except (ValueError, RecursionError, TypeError):
        lines[at] = changed
    return b"\n".join(lines) if chance.randrange(4) else in_lines(data, chance)


def _entry(data: bytes) -> None:
    """As it is, and written canonically; what is taken is written as it was read."""
    for body in (data, _canonical(data)):
        try:
            found = entry_of(body, 1)
        except UsbwatchError as error:
            clean(str(error))
            continue
        if entry_written(found).body != body or as_read(found) != found:
            raise Broken("an entry is not written as it was read")
        serials_in(found.fact)
        if isinstance(found.fact, Opened):
            looks(story([found]))


def _canonical(data: bytes) -> bytes:
    try:
        return canonical(json.loads(data))
    except (ValueError, RecursionError, TypeError):
        return data


def _entries() -> Iterable[bytes]:
    with closing(fresh_book()) as book:
        fill(book)
        for unit in book.units():
            yield from (entry_written(one).body for one in book.entries(unit))


def _manifest(data: bytes) -> None:
    for body in (data, _canonical(data)):
        with suppress_told():
            manifest_of(body, "it")


TARGETS = (
    Target(name="casebook-file", run=_book_file, seeds=lambda: [small_book()], share=4, largest=80_000),
    Target(
        name="casebook-rows",
        run=_book_rows,
        seeds=lambda: [b"\1", bytes([0, 3, 0, 1, 4]) + b"\x1b[2J"],
        share=5,
        largest=600,
    ),
    Target(
        name="unit-archive",
        run=_archive_file,
        seeds=lambda: [GOOD, *(stored(one) for one in _stream_seeds())],
        share=3,
        largest=8192,
    ),
    Target(name="unit-archive-stream", run=_archive, seeds=_stream_seeds, share=5, mutate=_other_stream, largest=8192),
    Target(name="casebook-entry", run=_entry, seeds=_entries, share=3, mutate=in_json),
    Target(name="archive-manifest", run=_manifest, seeds=lambda: [manifest(STREAM)], mutate=in_json),
)
