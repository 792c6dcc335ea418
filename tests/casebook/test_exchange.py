"""Units taken from one casebook to another, between and within either store."""

from __future__ import annotations

import io
import re
import struct
import threading
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st
from support.archives import MANIFEST, digest_of, everything_in, exported, refusal, stream_of, taken_in
from support.fresh_book import fresh_book
from support.make_casebook import fill

from usbwatch.capture.saved import load_saved
from usbwatch.casebook import Book, Paper, Story, When, open_book, paper_of
from usbwatch.casebook.exchange import export_units, importing
from usbwatch.casebook.exchange.archive import PART_SIZE
from usbwatch.errors import BadEntry, NoUnit, Refused, UnwritableOutput
from usbwatch.model import Step, StepKind
from usbwatch.model.history import (
    Amended,
    Answered,
    Attached,
    Captured,
    Closed,
    Ending,
    Entry,
    Intake,
    Noted,
    Opened,
    Recorded,
    Reopened,
    StepDone,
    Unit,
)

_ROOT = Path(__file__).parents[2]
_PAGE = (_ROOT / "docs" / "casebook-archive.md").read_text(encoding="utf-8")
_LOST = load_saved(str(_ROOT / "captures" / "larch-13-top-case-lost.json"))
_NOW = When(now="2026-03-02T09:20:00Z", by="bench 1")


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Book]:
    """Another bench's book: always a file."""
    made = open_book(str(tmp_path / "other.sqlite"))
    yield made
    made.close()


def _facts(book: Book, unit: Unit) -> list[tuple[str, Recorded]]:
    return [(entry.id, entry.fact) for entry in book.entries(unit)]


def _told(book: Book, id_: str) -> Story:
    """The story without the numbers, which are each book's own."""
    told = book.story(book.unit_by_id(id_))
    return replace(
        told,
        standings=tuple(
            replace(
                each,
                entry=replace(each.entry, number=0),
                amendments=tuple(replace(one, number=0) for one in each.amendments),
            )
            for each in told.standings
        ),
    )


def test_what_comes_into_the_other_book_is_what_was_in_the_first(book: Book, other: Book, tmp_path: Path) -> None:
    """In both directions between the stores, and back: the same units, entries, numbers, captures and files."""
    fill(book)
    result = taken_in(other, str(exported(book, tmp_path / "a")))
    assert (len(result.units), result.entries, result.documents) == (2, 10, 3)
    assert all(each.new and each.unit.label == each.label for each in result.units)
    for unit in book.units():
        assert other.unit(unit.label) == unit
        assert other.entries(unit) == book.entries(unit)
        assert other.story(unit) == book.story(unit)
    for (digest,) in book.store.rows("SELECT digest FROM document"):
        text = f"sha256:{digest.hex()}"
        assert other.content(text) == book.content(text)
    assert other.store.rows("SELECT kind, family FROM document ORDER BY digest") == book.store.rows(
        "SELECT kind, family FROM document ORDER BY digest"
    )
    assert other.store.damage() == ""
    assert exported(other, tmp_path / "b").read_bytes() == (tmp_path / "a").read_bytes()


def test_units_come_from_a_file_into_either_store(book: Book, other: Book, tmp_path: Path) -> None:
    fill(other)
    taken_in(book, str(exported(other, tmp_path / "a")))
    assert exported(book, tmp_path / "b").read_bytes() == (tmp_path / "a").read_bytes()
    (unit,) = book.units(closed=False)
    book.record(unit, [Noted(text="goes on here")], _NOW)
    assert len(book.entries(unit)) == 3


def test_importing_again_adds_nothing_and_says_so(book: Book, other: Book, tmp_path: Path) -> None:
    fill(other)
    archive = str(exported(other, tmp_path / "a"))
    taken_in(book, archive)
    before = everything_in(book)
    again = taken_in(book, archive)
    assert (again.entries, again.documents) == (0, 0)
    assert [(each.new, each.entries) for each in again.units] == [(False, 0), (False, 0)]
    assert everything_in(book) == before


def test_importing_a_books_own_archive_adds_nothing(book: Book, tmp_path: Path) -> None:
    fill(book)
    before = everything_in(book)
    assert taken_in(book, str(exported(book, tmp_path / "a"))).entries == 0
    assert everything_in(book) == before


def test_only_what_the_units_speak_of_goes_along(book: Book, other: Book, tmp_path: Path) -> None:
    fill(book)
    (waiting,) = book.units(closed=False)
    assert taken_in(other, str(exported(book, tmp_path / "a", [waiting]))).documents == 0
    assert [unit.id for unit in other.units()] == [waiting.id]


def test_a_unit_that_is_not_in_the_book_cannot_be_exported(book: Book, other: Book, tmp_path: Path) -> None:
    fill(other)
    with pytest.raises(NoUnit):
        exported(book, tmp_path / "a", other.units())


def test_an_empty_book_makes_an_archive_with_nothing_in_it(book: Book, other: Book, tmp_path: Path) -> None:
    assert taken_in(other, str(exported(book, tmp_path / "a"))).units == ()


def test_what_two_benches_added_to_one_unit_is_in_both_books_afterwards(
    book: Book, other: Book, tmp_path: Path
) -> None:
    unit, _ = book.open_unit(Opened(label="LB-0001"), _NOW)
    taken_in(other, str(exported(book, tmp_path / "a")))
    book.record(unit, [Noted(text="here")], When(now="2026-03-02T11:00:00Z"))
    other.record(unit, [Noted(text="there")], When(now="2026-03-02T10:00:00Z"))
    (there,) = taken_in(book, str(exported(other, tmp_path / "b"))).units
    assert (there.new, there.entries) == (False, 1)
    taken_in(other, str(exported(book, tmp_path / "c")))
    assert [each.fact.text for each in book.story(unit).standings[1:]] == ["there", "here"]  # type: ignore[union-attr]
    assert _told(book, unit.id) == _told(other, unit.id)
    assert [entry.number for entry in book.entries(unit)] == [1, 2, 3]
    assert exported(book, tmp_path / "d").read_bytes() == exported(other, tmp_path / "e").read_bytes()


def test_a_unit_closed_here_and_reopened_there_has_one_story_in_both_books(
    book: Book, other: Book, tmp_path: Path
) -> None:
    unit, _ = book.open_unit(Opened(label="LB-0001"), _NOW)
    book.record(unit, [Closed(ending=Ending.REPAIRED)], When(now="2026-03-02T10:00:00Z"))
    taken_in(other, str(exported(book, tmp_path / "a")))
    same = When(now="2026-03-03T10:00:00Z")
    for bench in (book, other):
        bench.record(unit, [Reopened(), Answered(check="runs-on-battery", yes=bench is book)], same)
    other.record(unit, [Closed(ending=Ending.RETURNED)], same)
    taken_in(book, str(exported(other, tmp_path / "b")))
    taken_in(other, str(exported(book, tmp_path / "c")))
    assert _told(book, unit.id) == _told(other, unit.id)
    assert book.unit_by_id(unit.id).ending == other.unit_by_id(unit.id).ending


def test_a_label_that_another_unit_has_gets_a_number_behind_it(book: Book, other: Book, tmp_path: Path) -> None:
    own, _ = book.open_unit(Opened(label="LB-0001"), _NOW)
    foreign, _ = other.open_unit(Opened(label="lb-0001"), _NOW)
    (result,) = taken_in(book, str(exported(other, tmp_path / "a"))).units
    assert (result.label, result.unit.label, result.unit.id) == ("lb-0001", "lb-0001 (2)", foreign.id)
    assert book.unit("LB-0001") == own
    assert taken_in(book, str(tmp_path / "a")).entries == 0
    assert book.unit("lb-0001 (2)").id == foreign.id


def test_what_is_said_of_a_unit_names_it_as_this_book_does(book: Book, other: Book, tmp_path: Path) -> None:
    """Under its own label a hint would lead to another unit."""
    book.open_unit(Opened(label="LB-1"), _NOW)
    foreign, _ = other.open_unit(Opened(label="LB-1"), _NOW)
    other.record(foreign, [Closed(ending=Ending.REPAIRED)], _NOW)
    (result,) = taken_in(book, str(exported(other, tmp_path / "a"))).units
    told = book.story(result.unit)
    assert (told.label, told.opened.label, other.story(foreign).label) == ("LB-1 (2)", "LB-1", "LB-1")
    assert told == other.story(foreign), "what a book calls a unit is no part of its story"
    facts: dict[Recorded, str] = {
        StepDone(step=Step(kind=StepKind.DRAIN, of="")): r"unit LB-1 \(2\) is closed .*unit reopen 'LB-1 \(2\)'",
        Opened(label="LB-1"): r"unit LB-1 \(2\) is in the book already",
        Amended(entry="f" * 32, reason="x"): r"unit LB-1 \(2\) has no such entry",
    }
    for fact, words in facts.items():
        for act in (book.record, book.draft):
            with pytest.raises(Refused, match=words):
                act(result.unit, [fact], _NOW)
    assert book.draft(result.unit, [Noted(text="x")], _NOW).label == "LB-1 (2)"
    opening = told.standings[0].entry.id
    renamed = Amended(entry=opening, reason="x", instead=Opened(label="LB-7"))
    assert book.draft(result.unit, [renamed], _NOW).label == "LB-7"


@pytest.mark.parametrize("which", ["at", "recorded_at"])
def test_an_entry_of_a_time_that_is_yet_to_come_is_refused(which: str, book: Book, other: Book, tmp_path: Path) -> None:
    """All that is recorded later would be put behind it. The clocks of two benches may differ by a day."""
    unit, _ = other.open_unit(Opened(label="LB-0001"), _NOW)
    late = When(now="2026-03-04T09:20:00Z", **({"at": _NOW.now} if which == "recorded_at" else {}))
    other.record(unit, [Noted(text="x")], late)
    archive = exported(other, tmp_path / "a")
    assert "yet to come (2026-03-04T09:20:00Z)" in refusal(book, archive, now="2026-03-03T09:19:59Z")
    assert taken_in(book, str(archive), now="2026-03-03T09:20:00Z").entries == 2
    assert taken_in(book, str(archive), now="2026-03-01T00:00:00Z").entries == 0, "what is here already does no harm"


def test_what_is_recorded_after_an_import_stands_after_all_that_came_with_it(
    book: Book, other: Book, tmp_path: Path
) -> None:
    """Also where this bench's clock is behind the other one's."""
    unit, _ = other.open_unit(Opened(label="LB-0001"), When(now="2026-03-05T10:00:00Z"))
    (step,) = other.record(unit, [StepDone(step=Step(kind=StepKind.DRAIN, of=""))], When(now="2026-03-05T10:00:00Z"))
    other.record(unit, [Amended(entry=step.id, reason="another unit")], When(now="2026-03-05T10:00:05Z"))
    taken_in(book, str(exported(other, tmp_path / "a")))
    late = Amended(entry=step.id, reason="it was this one", instead=step.fact)
    book.record(unit, [Noted(text="last"), late], When(now="2026-03-01T10:00:00Z"))
    told = book.story(unit)
    assert told.standings[-1].fact == Noted(text="last")
    assert told.by_number(step.number).fact == step.fact  # type: ignore[union-attr]


def test_a_terminals_commands_in_a_note_come_through_as_they_are(book: Book, other: Book, tmp_path: Path) -> None:
    """Nothing is lost on the way; what is shown goes through ``safe``."""
    text = "smells\x1b[2J of \u202ecoffee\x00\n"
    unit, _ = book.open_unit(Opened(label="LB-0001"), _NOW, [Noted(text=text)])
    taken_in(other, str(exported(book, tmp_path / "a")))
    assert other.entries(unit)[1].fact == Noted(text=text)


def test_a_file_that_packs_too_well_is_taken_as_it_is(book: Book, other: Book, tmp_path: Path) -> None:
    """Forty megabytes of nothing would look like a bomb: no part of an export unpacks to more than 200 times."""
    unit, _ = book.open_unit(Opened(label="LB-0001"), _NOW)
    dump = Paper(kind="file", content=bytes(40 * 1024 * 1024))
    fact = Attached(file=digest_of(dump.content), name="dump.bin", size=len(dump.content))
    book.record(unit, [fact], _NOW, [dump])
    archive = exported(book, tmp_path / "a")
    with zipfile.ZipFile(archive) as file:
        sizes = [info.file_size for info in file.infolist()]
        assert sizes[:2] == [PART_SIZE, PART_SIZE]
        assert len(sizes) == 4
        assert all(info.file_size <= 200 * info.compress_size for info in file.infolist())
    taken_in(other, str(archive))
    assert other.content(fact.file) == dump.content


def test_a_photo_which_cannot_be_packed_is_taken_as_it_is(book: Book, other: Book, tmp_path: Path) -> None:
    from random import Random

    photo = Paper(kind="file", content=Random(1).randbytes(70_000))
    fact = Attached(file=digest_of(photo.content), name="board.jpg", size=len(photo.content))
    book.open_unit(Opened(label="LB-0001"), _NOW, [fact], [photo])
    with zipfile.ZipFile(exported(book, tmp_path / "a")) as file:
        assert [info.compress_type for info in file.infolist()] == [zipfile.ZIP_STORED, zipfile.ZIP_STORED]
    taken_in(other, str(tmp_path / "a"))
    assert other.content(fact.file) == photo.content


@contextmanager
def _two_books() -> Iterator[tuple[Book, Book]]:
    first, second = fresh_book(), fresh_book()
    yield first, second
    first.close()
    second.close()


_MADE: dict[str, Callable[[int], Recorded]] = {
    "step": lambda n: StepDone(step=Step(kind=StepKind.RESEAT, of="flex"), result=f"{n}"),
    "answer": lambda n: Answered(check="runs-on-battery", yes=bool(n % 2)),
    "capture": lambda _: Captured(capture=_LOST.digest),
    "note": lambda n: Noted(text=f"note {n}"),
    "close": lambda n: Closed(ending=Ending.REPAIRED if n % 2 else Ending.RETURNED),
    "reopen": lambda _: Reopened(intake=Intake(paid=3)),
}


def _do(bench: Book, id_: str, kind: str, second: int) -> tuple[Entry, ...]:
    """What one bench records, if its book has room for it."""
    unit = bench.unit_by_id(id_)
    known = [entry for entry in bench.entries(unit) if not isinstance(entry.fact, (Amended, Opened))]
    if kind == "amend":
        if not known:
            return ()
        about = known[second % len(known)]
        fact: Recorded = Amended(entry=about.id, reason="misread", instead=about.fact if second % 2 else None)
    else:
        fact = _MADE[kind](second)
    papers = [paper_of(_LOST)] if kind == "capture" else []
    try:
        return bench.record(unit, [fact], When(now=f"2026-03-02T09:00:{second:02d}Z"), papers)
    except Refused:
        return ()


def _send(sender: Book, receiver: Book, path: Path) -> None:
    taken_in(receiver, str(exported(sender, path)))


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["here", "there"]),
            st.sampled_from([*_MADE, "amend", "send"]),
            st.integers(min_value=0, max_value=5),
        ),
        max_size=14,
    )
)
@pytest.mark.properties
def test_two_benches_that_have_exchanged_all_tell_the_same_story(
    tmp_path_factory: pytest.TempPathFactory, deeds: list[tuple[str, str, int]]
) -> None:
    """Whatever each did, in whatever order, with clocks that jump, and whatever was exchanged in between."""
    path = tmp_path_factory.getbasetemp() / "exchanged.zip"
    with _two_books() as (here, there):
        unit, _ = here.open_unit(Opened(label="LB-0001"), When(now="2026-03-02T09:00:03Z"))
        _send(here, there, path)
        known: list[tuple[str, frozenset[str]]] = []
        for who, kind, second in deeds:
            bench, far = (here, there) if who == "here" else (there, here)
            if kind == "send":
                _send(bench, far, path)
                continue
            before = frozenset(entry.id for entry in bench.entries(unit))
            known += [(entry.id, before) for entry in _do(bench, unit.id, kind, second)]
        _send(here, there, path)
        _send(there, here, path)
        assert _told(here, unit.id) == _told(there, unit.id)
        assert here.unit_by_id(unit.id).ending == there.unit_by_id(unit.id).ending
        assert stream_of(exported(here, path)) == stream_of(exported(there, path))
        places = {each.entry.id: place for place, each in enumerate(here.story(unit).standings)}
        for id_, before in known:
            assert all(places[one] < places[id_] for one in before if one in places and id_ in places)
        assert {id_ for id_, _ in known} < {entry.id for entry in here.entries(unit)}


@given(
    st.lists(st.tuples(st.sampled_from(sorted(_MADE)), st.integers(0, 3), st.integers(0, 3)), max_size=12),
    st.randoms(use_true_random=False),
)
@pytest.mark.properties
def test_a_story_is_told_by_the_entries_alone_whatever_their_numbers(
    facts: list[tuple[str, int, int]], chance: object
) -> None:
    """No order of facts makes a reader fall over, and no numbering changes what they come to."""
    from random import Random

    from usbwatch.casebook import looks, steps_since, story

    assert isinstance(chance, Random)
    entries = [_entry(1, Opened(label="LB-0001"), 0, 0)]
    entries += [_entry(number, _MADE[kind](number), at, order) for number, (kind, at, order) in enumerate(facts, 2)]
    shuffled = chance.sample(entries, len(entries))
    renumbered = [replace(entry, number=number) for number, entry in enumerate(shuffled, 1)]
    told, again = story(entries), story(renumbered)
    assert [each.entry.id for each in told.standings] == [each.entry.id for each in again.standings]
    assert (told.ending, steps_since(told)) == (again.ending, steps_since(again))
    assert [replace(one, number=0) for one in looks(told)] == [replace(one, number=0) for one in looks(again)]


def _entry(number: int, fact: Recorded, at: int, order: int) -> Entry:
    moment = f"2026-03-02T09:00:{at:02d}Z"
    return Entry(
        id=f"{number:032x}", unit=32 * "a", number=number, at=moment, recorded_at=moment, order=order, fact=fact
    )


def test_several_programs_that_import_one_archive_at_once_add_it_once(
    book: Book, address: str, other: Book, tmp_path: Path
) -> None:
    fill(other)
    archive = str(exported(other, tmp_path / "a"))
    added: list[int] = []
    ready = threading.Barrier(4)

    def work() -> None:
        mine = open_book(address)
        ready.wait()
        added.append(taken_in(mine, archive).entries)
        mine.close()

    workers = [threading.Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert sorted(added) == [0, 0, 0, 10]
    assert len(book.units()) == 2


def test_nothing_is_recorded_that_could_not_be_read_back(book: Book) -> None:
    unit, _ = book.open_unit(Opened(label="LB-0001"), _NOW)
    facts: dict[str, Recorded] = {
        "attach it as a file": Noted(text="x" * 300_000),
        "a sum": Closed(ending=Ending.REPAIRED, brought=10**17),
    }
    for why, fact in facts.items():
        with pytest.raises(Refused, match=why):
            book.record(unit, [fact], _NOW)
    assert len(book.entries(unit)) == 1


def test_an_order_that_no_book_gives_is_no_entry() -> None:
    from usbwatch.casebook.entries import entry_of, written

    body = written(_entry(2, Noted(text="x"), 0, 7)).body
    assert entry_of(body, 2).order == 7
    for wrong in (b"-1", b"0", b"true", b"7.5", b'"7"', b"10000000"):
        with pytest.raises(BadEntry):
            entry_of(body.replace(b'"order":7', b'"order":' + wrong), 2)


def test_the_file_is_a_zip_file_as_its_description_has_it(book: Book, tmp_path: Path) -> None:
    """APPNOTE.TXT 6.3.10 (from memory), field by field: 4.3.7 local header, 4.3.16 end, 4.4.2 to 4.4.15 values."""
    fill(book)
    content = exported(book, tmp_path / "a").read_bytes()
    signature, version, flags, method, time, date, crc, packed, size, name, extra = struct.unpack(
        "<4s5H3L2H", content[:30]
    )
    assert (signature, version, flags, method, time) == (b"PK\x03\x04", 20, 0, 8, 0)
    assert date == (1980 - 1980) << 9 | 1 << 5 | 1
    assert (content[30 : 30 + name], extra) == (b"units-00001", 0)
    import zlib

    stream = zlib.decompress(content[41 : 41 + packed], wbits=-15)
    assert (len(stream), zlib.crc32(stream)) == (size, crc)
    end = struct.unpack("<4s4H2LH", content[-22:])
    assert end[:5] == (b"PK\x05\x06", 0, 0, 2, 2)
    assert content[end[6] :][:4] == b"PK\x01\x02"
    assert end[5] + end[6] + 22 == len(content)
    with zipfile.ZipFile(io.BytesIO(content)) as file:
        assert file.testzip() is None
        assert file.namelist() == ["units-00001", MANIFEST]


def test_the_manifest_fits_the_schema_on_the_formats_page_and_is_canonical(book: Book, tmp_path: Path) -> None:
    import json

    fill(book)
    archive = exported(book, tmp_path / "a")
    with zipfile.ZipFile(archive) as file:
        body = file.read(MANIFEST)
    found = json.loads(body)
    schema = json.loads(re.findall(r"```json\n(\{\n \"\$schema.*?)```", _PAGE, re.DOTALL)[0])
    jsonschema.Draft202012Validator(schema).validate(found)
    assert set(schema["properties"]) == set(schema["required"]) == set(found)
    assert body == rfc8785.dumps(found)
    stream = stream_of(archive)
    assert (found["size"], found["digest"]) == (len(stream), digest_of(stream))


def test_the_reader_on_the_formats_page_reads_what_an_export_wrote(book: Book, tmp_path: Path) -> None:
    """The page's own lines, with nothing of this program."""
    fill(book)
    archive = exported(book, tmp_path / "a")
    (lines,) = re.findall(r"```python\n(.*?)```", _PAGE, re.DOTALL)
    there: dict[str, object] = {}
    exec(compile(lines, "docs/casebook-archive.md", "exec"), there)  # the page is ours
    found = list(there["units"](archive))  # type: ignore[operator]
    assert sorted(len(entries) for _, entries, _ in found) == [2, 8]
    for id_, entries, documents in found:
        unit = book.unit_by_id(id_)
        assert [one["id"] for one in entries] == [entry.id for entry in book.entries(unit)]
        assert all(book.content(digest) == content for digest, content in documents.items())


def test_an_export_that_breaks_off_leaves_what_was_there(book: Book, tmp_path: Path) -> None:
    from usbwatch.cli.writing import writing_file

    fill(book)
    target = tmp_path / "units.zip"
    target.write_bytes(b"kept")
    with pytest.raises(NoUnit), writing_file(str(target), force=True) as file:
        export_units(book, [replace(book.units()[0], id="0" * 32), *book.units()], file, "2026-03-04T08:00:00Z")
    with pytest.raises(UnwritableOutput, match="is there already"), writing_file(str(target)) as file:
        export_units(book, None, file, "2026-03-04T08:00:00Z")
    assert target.read_bytes() == b"kept"
    with writing_file(str(target), force=True) as file:
        export_units(book, None, file, "2026-03-04T08:00:00Z")
    assert taken_in(book, str(target)).entries == 0
    assert sorted(path.suffix for path in tmp_path.iterdir() if path.suffix == ".part") == []


def test_another_program_may_import_the_same_between_the_look_and_the_writing(
    book: Book, address: str, other: Book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(other)
    archive = str(exported(other, tmp_path / "a"))
    look = importing._there

    def then_the_other_imports(mine: Book, unit: str) -> tuple[Entry, ...]:
        there = look(mine, unit)
        if mine is book and not there:
            second = open_book(address)
            taken_in(second, archive)
            second.close()
        return there

    monkeypatch.setattr(importing, "_there", then_the_other_imports)
    assert taken_in(book, archive).entries == 0
    assert {one.id: book.entries(one) for one in book.units()} == {one.id: other.entries(one) for one in other.units()}
