"""A unit's way through the book, on either store."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.capture.saved import load_saved
from usbwatch.casebook import Book, Paper, When, looks, open_book, paper_of, steps_since, story
from usbwatch.errors import BadBook, NoUnit, Refused
from usbwatch.model import Answer, Step, StepKind
from usbwatch.model.history import (
    Amended,
    Answered,
    Attached,
    Baselined,
    Captured,
    Closed,
    Ending,
    Intake,
    Noted,
    Opened,
    Reopened,
    StepDone,
    Unit,
)

_CAPTURES = Path(__file__).parents[2] / "captures"
_LOST = _CAPTURES / "larch-13-top-case-lost.json"
_AFTER = _CAPTURES / "larch-13-after-top-case.json"
_NOW = When(now="2026-03-02T09:20:00Z", by="bench 1")


def _opened(book: Book, label: str = "LB-0001") -> Unit:
    intake = Intake(claims=("keyboard and touchpad dead",), paid=60, liquid=False)
    return book.open_unit(Opened(label=label, model="fernhill-larch-13", intake=intake), _NOW)[0]


def _captured(book: Book, unit: Unit, path: Path, when: When = _NOW) -> str:
    saved = load_saved(str(path))
    fact = Captured(capture=saved.digest, taken_at=saved.capture.taken_at)
    book.record(unit, [fact], when, [paper_of(saved)])
    return saved.digest


def test_what_was_recorded_is_there_when_the_book_is_opened_again(book: Book, address: str) -> None:
    unit = _opened(book)
    digest = _captured(book, unit, _LOST)
    book.close()
    again = open_book(address)
    entries = again.entries(again.unit("lb-0001"))
    assert [type(entry.fact) for entry in entries] == [Opened, Captured]
    assert entries[0].fact.intake.claims == ("keyboard and touchpad dead",)  # type: ignore[union-attr]
    assert [entry.by for entry in entries] == ["bench 1", "bench 1"]
    assert again.saved_capture(digest) == load_saved(str(_LOST))
    again.close()


def test_a_label_names_one_unit_whatever_its_case_and_spaces(book: Book) -> None:
    _opened(book, "LB-0001 a")
    with pytest.raises(Refused, match="there is a unit lb-0001 A in the book"):
        _opened(book, "lb-0001  A")
    assert book.unit("  LB-0001 A ").label == "LB-0001 a"


@pytest.mark.parametrize("label", ["", "   ", "x" * 61, "a\x1b[2Jb", "a\nb", "--all", "\u202eabc", "\ud800"])
def test_a_label_that_cannot_be_typed_or_shown_is_refused(book: Book, label: str) -> None:
    with pytest.raises(Refused):
        _opened(book, label.replace("\n", "\x00"))
    assert book.units() == ()


def test_a_unit_that_is_not_there_is_told_with_those_that_are_near(book: Book) -> None:
    _opened(book, "LB-0042")
    with pytest.raises(NoUnit, match="did you mean LB-0042"):
        book.unit("0042")
    with pytest.raises(NoUnit, match="usbwatch unit list"):
        book.unit("%")


def test_a_unit_is_found_by_the_start_of_its_id(book: Book) -> None:
    unit = _opened(book)
    assert book.unit(unit.id[:8]) == unit


def test_the_same_capture_is_kept_once(book: Book) -> None:
    first, second = _opened(book, "A"), _opened(book, "B")
    _captured(book, first, _LOST)
    _captured(book, second, _LOST)
    assert book.store.rows("SELECT count(*) FROM document") == [(1,)]


def test_a_capture_that_resembles_another_takes_a_fraction_of_its_size(book: Book) -> None:
    unit = _opened(book)
    digests = [_captured(book, unit, path) for path in (_LOST, _AFTER)]
    (whole, first), (_, second) = book.store.rows("SELECT size, length(packed) FROM document ORDER BY key")
    assert second < first / 4 < whole / 4
    assert book.saved_capture(digests[1]) == load_saved(str(_AFTER))


def test_an_attached_file_comes_out_as_it_went_in(book: Book) -> None:
    unit = _opened(book)
    photo = Paper(kind="file", content=bytes(range(256)) * 9)
    digest = f"sha256:{photo.raw_digest.hex()}"
    book.record(unit, [Attached(file=digest, name="board.jpg", size=len(photo.content))], _NOW, [photo])
    assert book.content(digest) == photo.content


def test_a_fact_about_a_document_that_the_book_does_not_have_is_refused(book: Book) -> None:
    unit = _opened(book)
    with pytest.raises(Refused, match="has no document"):
        book.record(unit, [Noted(text="first"), Captured(capture=f"sha256:{64 * '0'}")], _NOW)
    assert len(book.entries(unit)) == 1, "nothing of what was recorded together is kept"


def test_an_amendment_leaves_what_it_amends(book: Book) -> None:
    unit = _opened(book)
    done = StepDone(step=Step(kind=StepKind.SWAP, of="top-case"), cost=120)
    (entry,) = book.record(unit, [done], _NOW)
    dearer = StepDone(step=done.step, cost=140)
    book.record(unit, [Amended(entry=entry.id, reason="postage", instead=dearer)], _NOW)
    told = book.story(unit)
    assert [each.fact for each in told.standings[1:]] == [dearer]
    assert told.standings[1].entry == entry
    assert len(book.entries(unit)) == 3


def test_an_entry_that_was_withdrawn_counts_no_more_and_is_still_there(book: Book) -> None:
    unit = _opened(book)
    (entry,) = book.record(unit, [StepDone(step=Step(kind=StepKind.DRAIN, of=""))], _NOW)
    book.record(unit, [Amended(entry=entry.id, reason="another unit")], _NOW)
    assert steps_since(book.story(unit)) == ()
    assert entry in book.entries(unit)


def test_what_opened_the_unit_can_be_amended_and_not_withdrawn(book: Book) -> None:
    unit = _opened(book)
    first = book.entries(unit)[0]
    with pytest.raises(Refused, match="cannot be withdrawn"):
        book.record(unit, [Amended(entry=first.id, reason="no")], _NOW)
    with pytest.raises(Refused, match="cannot become one of kind note"):
        book.record(unit, [Amended(entry=first.id, reason="no", instead=Noted(text="x"))], _NOW)
    renamed = Opened(label="LB-0009", model="brackwell-heron-14")
    (amendment,) = book.record(unit, [Amended(entry=first.id, reason="misread", instead=renamed)], _NOW)
    assert (book.unit("LB-0009").id, book.unit("LB-0009").model) == (unit.id, "brackwell-heron-14")
    with pytest.raises(Refused, match="amend the entry itself"):
        book.record(unit, [Amended(entry=amendment.id, reason="no")], _NOW)


def test_a_closed_unit_takes_notes_and_files_and_nothing_else_until_it_is_reopened(book: Book) -> None:
    unit = _opened(book)
    book.record(unit, [Closed(ending=Ending.REPAIRED, brought=250)], _NOW)
    assert book.unit(unit.label).ending is Ending.REPAIRED
    with pytest.raises(Refused, match="usbwatch unit reopen LB-0001"):
        book.record(unit, [Answered(check="runs-on-battery", yes=True)], _NOW)
    book.record(unit, [Noted(text="customer is happy"), Reopened()], _NOW)
    book.record(unit, [Answered(check="runs-on-battery", yes=True)], _NOW)
    assert book.unit(unit.label).ending is None


def test_units_are_listed_with_the_latest_first(book: Book) -> None:
    older = _opened(book, "A")
    newer = book.open_unit(Opened(label="B", model="brackwell-heron-14"), When(now="2026-03-03T08:00:00Z"))[0]
    book.record(newer, [Closed(ending=Ending.PARTED_OUT)], When(now="2026-03-04T08:00:00Z"))
    assert [unit.label for unit in book.units()] == ["B", "A"]
    assert book.units(closed=False) == (older,)
    assert [unit.label for unit in book.units(closed=True)] == ["B"]
    assert [unit.label for unit in book.units(model="brackwell-heron-14")] == ["B"]


def test_a_clock_that_was_set_back_does_not_change_the_order(book: Book) -> None:
    unit = _opened(book)
    book.record(unit, [Noted(text="first")], When(now="2026-03-05T08:00:00Z"))
    book.record(unit, [Noted(text="second")], When(now="2026-03-01T08:00:00Z"))
    assert [each.fact.text for each in book.story(unit).standings[1:]] == ["first", "second"]  # type: ignore[union-attr]


def test_what_is_written_down_now_stands_after_all_that_is_known_whatever_the_clock_says(book: Book) -> None:
    """Also right after something that is told of an earlier day."""
    unit = _opened(book)
    book.record(unit, [Noted(text="second")], When(now="2026-03-05T08:00:00Z"))
    book.record(unit, [Noted(text="first")], When(now="2026-03-05T09:00:00Z", at="2026-03-04T08:00:00Z"))
    book.record(unit, [Noted(text="third")], When(now="2026-03-01T08:00:00Z"))
    texts = [each.fact.text for each in book.story(unit).standings[1:]]  # type: ignore[union-attr]
    assert texts == ["first", "second", "third"]


def test_what_is_told_to_have_happened_earlier_stands_earlier(book: Book) -> None:
    unit = _opened(book)
    book.record(unit, [Noted(text="second")], When(now="2026-03-05T08:00:00Z"))
    book.record(unit, [Noted(text="first")], When(now="2026-03-06T08:00:00Z", at="2026-03-04T08:00:00Z"))
    assert [each.fact.text for each in book.story(unit).standings[1:]] == ["first", "second"]  # type: ignore[union-attr]


def test_a_closing_and_a_baseline_come_after_what_they_rest_on(book: Book) -> None:
    """What was seen at ten cannot have been kept as healthy at nine. A person tells the minute."""
    unit = _opened(book)
    digest = _captured(book, unit, _AFTER, When(now="2026-03-05T10:00:30Z"))
    late = "2026-03-06T08:00:00Z"
    for fact in (Closed(ending=Ending.REPAIRED), Baselined(capture=digest)):
        for act in (book.record, book.draft):
            with pytest.raises(Refused, match=r"before what was last done .*2026-03-05T10:00:30Z"):
                act(unit, [fact], When(now=late, at="2026-03-05T09:59:59Z"))
    book.record(unit, [Baselined(capture=digest)], When(now=late, at="2026-03-05T10:00:00Z"))
    book.record(unit, [Noted(text="no ground for anything")], When(now=late, at="2026-03-05T12:00:00Z"))
    with pytest.raises(Refused, match="or seen of it"):
        book.record(unit, [Closed(ending=Ending.REPAIRED)], When(now=late, at="2026-03-05T09:00:00Z"))
    book.record(unit, [Closed(ending=Ending.REPAIRED)], When(now=late, at="2026-03-05T10:01:00Z"))
    assert book.unit(unit.label).ending is Ending.REPAIRED


@pytest.mark.parametrize(
    "fact",
    [StepDone(step=Step(kind=StepKind.DRAIN, of="")), Answered(check="keys-answer", yes=True)],
    ids=["step", "answer"],
)
def test_a_closing_comes_after_each_step_and_answer(fact: StepDone | Answered, book: Book) -> None:
    unit = _opened(book)
    book.record(unit, [fact], When(now="2026-03-05T10:00:00Z"))
    with pytest.raises(Refused, match="before what was last done"):
        book.record(unit, [Closed(ending=Ending.REPAIRED)], When(now="2026-03-06T08:00:00Z", at="2026-03-05T09:00:00Z"))


def test_a_step_begins_a_new_state_and_answers_go_with_the_state_they_tell_of(book: Book) -> None:
    unit = _opened(book)
    first = _captured(book, unit, _LOST)
    swap = Step(kind=StepKind.SWAP, of="top-case")
    book.record(
        unit,
        [
            Answered(check="runs-on-battery", yes=False),
            StepDone(step=swap),
            Answered(check="keys-answer", yes=True),
        ],
        _NOW,
    )
    second = _captured(book, unit, _AFTER)
    before, after = looks(book.story(unit))
    assert (before.capture, before.steps, before.answers) == (first, (), (Answer(check="runs-on-battery", yes=False),))
    assert (after.capture, after.steps, after.answers) == (second, (swap,), (Answer(check="keys-answer", yes=True),))


def test_answers_alone_are_a_look_without_a_capture(book: Book) -> None:
    unit = _opened(book)
    book.record(unit, [Answered(check="runs-on-battery", yes=False)], _NOW)
    (look,) = looks(book.story(unit))
    assert (look.capture, look.answers) == ("", (Answer(check="runs-on-battery", yes=False),))


def test_the_last_answer_to_one_question_holds(book: Book) -> None:
    unit = _opened(book)
    _captured(book, unit, _LOST)
    book.record(unit, [Answered(check="a", yes=False), Answered(check="a", yes=True)], _NOW)
    assert looks(book.story(unit))[0].answers == (Answer(check="a", yes=True),)


@pytest.mark.parametrize("captured_first", [True, False])
def test_an_answer_that_is_recorded_twice_was_tried_twice_unless_a_step_lies_between(
    book: Book, *, captured_first: bool
) -> None:
    unit, no = _opened(book), Answered(check="a", yes=False)
    if captured_first:
        _captured(book, unit, _LOST)
    book.record(unit, [no, no], _NOW)
    assert looks(book.story(unit))[0].answers == (Answer(check="a", yes=False, again=True),)
    book.record(unit, [StepDone(step=Step(kind=StepKind.DRAIN, of="")), no], _NOW)
    assert looks(book.story(unit))[-1].answers == (Answer(check="a", yes=False),)


def test_a_unit_that_came_back_is_looked_at_anew(book: Book) -> None:
    unit = _opened(book)
    _captured(book, unit, _LOST)
    book.record(unit, [Closed(ending=Ending.REPAIRED), Reopened()], _NOW)
    assert looks(book.story(unit)) == ()
    _captured(book, unit, _AFTER)
    assert len(looks(book.story(unit))) == 1


def test_a_file_that_is_no_casebook_is_refused(tmp_path: Path) -> None:
    import sqlite3

    text, other, folder = tmp_path / "text", tmp_path / "other", tmp_path / "folder"
    text.write_text("no database " * 100)
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE unit (x)")
    connection.close()
    folder.mkdir()
    for path, why in ((text, "no SQLite database"), (other, "another program's database"), (folder, "no regular file")):
        with pytest.raises(BadBook, match=why):
            open_book(str(path))
    with pytest.raises(BadBook, match="is not there"):
        open_book(str(tmp_path / "none"), must_exist=True)
    with pytest.raises(BadBook, match="of a kind that is not known"):
        open_book("mysql://somewhere/book")


def test_a_book_of_a_newer_program_is_refused_and_left_alone(address: str) -> None:
    book = open_book(address)
    with book.store.writing():
        book.store.set_schema(99)
    book.close()
    with pytest.raises(BadBook, match="written in schema 99"):
        open_book(address)


def test_a_damaged_document_is_told(book: Book) -> None:
    unit = _opened(book)
    digest = _captured(book, unit, _LOST)
    with book.store.writing():
        book.store.do("UPDATE document SET packed = ?", b"\x28\xb5\x2f\xfdnonsense")
    with pytest.raises(BadBook, match="is damaged"):
        book.saved_capture(digest)


@given(st.lists(st.sampled_from(["step", "answer", "capture", "note", "close", "reopen"]), max_size=14))
@pytest.mark.properties
def test_every_answer_and_capture_of_the_visit_is_in_exactly_one_look(kinds: list[str]) -> None:
    """Nothing that was seen since the unit came in is lost, and nothing counts twice."""
    from support.entries import entries_of

    told = story(entries_of(kinds))
    visit = [each.fact for each in told.visit]
    captures = [fact.capture for fact in visit if isinstance(fact, Captured)]
    found = looks(told)
    assert [look.capture for look in found if look.capture] == captures
    seen_after = [fact for fact in visit if isinstance(fact, StepDone)]
    assert sum(len(look.steps) for look in found) + len(steps_since(told)) == len(seen_after)
    checks = {fact.check for fact in visit if isinstance(fact, Answered)}
    assert {answer.check for look in found for answer in look.answers} == checks
