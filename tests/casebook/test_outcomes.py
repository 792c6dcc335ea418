"""What a unit's visits come to, and what the shop's closed cases say: each case once, and only of what was there."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from support.archives import exported, taken_in
from support.entries import entries_of
from support.wired import LARCH

from usbwatch.casebook import Book, Paper, Story, When, open_book, story
from usbwatch.casebook.bounds import MOST_MINUTES, MOST_MONEY
from usbwatch.casebook.exchange.archive import LARGEST_HISTORY
from usbwatch.casebook.experience import EndingCount, Fared
from usbwatch.casebook.outcomes import Sums, Visit, model_of, visits
from usbwatch.localise import classes_of, grounds
from usbwatch.model import Match, Variant
from usbwatch.model.history import (
    Amended,
    Baselined,
    Cause,
    Closed,
    Ending,
    Entry,
    Intake,
    Noted,
    Opened,
    Recorded,
    Reopened,
    Unit,
)

_MODEL = "fernhill-larch-13"


def _at(hour: int) -> When:
    return When(now=f"2026-03-02T{hour:02d}:00:00Z")


def _told(*facts: Recorded) -> Story:
    """A unit to which one thing after another happened, a second apart."""
    blank = entries_of(["note"] * len(facts))
    return story([replace(entry, fact=fact) for entry, fact in zip(blank, facts, strict=False)])


def _known(causes: Sequence[Cause], sites: dict[str, str], **more: object) -> tuple[Closed, Paper]:
    """A closing with its cause, and the list of all that could have failed."""
    paper = Paper(kind="sites", content=json.dumps(sites).encode())
    closed = Closed(
        ending=Ending.REPAIRED,
        model=_MODEL,
        cause_known=True,
        causes=tuple(causes),
        sites=f"sha256:{paper.raw_digest.hex()}",
    )
    return replace(closed, **more), paper  # type: ignore[arg-type]


_FLEX = Cause(site="open:top-case-flex", site_class="open")
_SITES = {"open:top-case-flex": "open", "dead:keyboard": "dead:keyboard"}


class TestVisits:
    opened = Opened(label="LB-0001", intake=Intake(paid=60))
    closed = Closed(ending=Ending.REPAIRED, brought=250)

    def test_a_visit_lasts_until_the_unit_is_closed(self) -> None:
        told = _told(self.opened, Noted(text="x", cost=5, minutes=10))
        assert visits(told) == (Visit(sums=Sums(spent=65, minutes=10)),)

    def test_each_return_begins_another(self) -> None:
        told = _told(
            self.opened, self.closed, Noted(text="postage", cost=7), Reopened(intake=Intake(paid=1)), self.closed
        )
        assert visits(told) == (
            Visit(sums=Sums(spent=60), closed=self.closed, number=2),
            Visit(sums=Sums(spent=8), closed=self.closed, number=5),
        )

    def test_what_two_benches_closed_is_one_visit_and_the_later_closing_holds(self) -> None:
        later = replace(self.closed, brought=300)
        told = _told(self.opened, self.closed, Noted(text="x", cost=5), later, Noted(text="y", cost=2))
        assert visits(told) == (
            Visit(sums=Sums(spent=65), closed=later, number=4),
            Visit(sums=Sums(spent=2)),
        )

    def test_a_return_that_was_withdrawn_parts_nothing(self) -> None:
        entries = entries_of(["close", "reopen", "close", "note"])
        withdrawn = Amended(entry=entries[2].id, reason="another unit")
        assert len(visits(story(entries[:4]))) == 2
        assert len(visits(story([*entries[:4], replace(entries[4], fact=withdrawn)]))) == 1

    def test_what_is_beyond_any_sum_counts_as_not_told(self) -> None:
        """An older book may hold it, from an archive; it is not taken in any more."""
        told = _told(self.opened, Noted(text="x", cost=2**53 - 1, minutes=-5), Noted(text="y", cost=3))
        assert visits(told)[0].sums == Sums(spent=63)

    def test_the_sums_of_the_longest_history_fit_into_either_store(self) -> None:
        """One byte an entry would be fewer than any takes; integers have 64 bits (SQLite datatypes, PostgreSQL 8.1)."""
        assert LARGEST_HISTORY * max(MOST_MONEY, MOST_MINUTES) < 2**63


class TestStory:
    def test_it_says_how_the_unit_stands(self) -> None:
        kept = Baselined(capture=f"sha256:{64 * '1'}")
        told = _told(Opened(label="LB-0001", model=_MODEL), kept, Closed(ending=Ending.SOLD_AS_IS))
        assert (told.label, told.model, told.ending, told.baseline) == ("LB-0001", _MODEL, Ending.SOLD_AS_IS, kept)
        assert told.baseline_at == told.standings[1].entry.at
        assert [each.entry.number for each in told.visit] == [2, 3], "keeping a baseline begins a visit"
        assert told.by_number(3) == told.standings[2]
        assert told.by_number(4) is None

    def test_one_that_came_back_is_on_the_bench(self) -> None:
        told = story(entries_of(["close", "reopen"]))
        assert told.ending is None
        assert [each.entry.number for each in told.visit] == [3]

    def test_without_an_opening_there_is_none(self) -> None:
        with pytest.raises(ValueError, match="no entry says"):
            story(entries_of(["note"])[1:])

    @pytest.mark.parametrize("model", ["../../etc/x", "profile.toml", "C:\\x", "Larch 13", "a\0b", "x" * 61])
    def test_a_model_of_an_older_book_that_could_name_a_file_is_none(self, model: str) -> None:
        assert _told(Opened(label="LB-0001", model=model)).model == ""


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Book]:
    """Another bench's book."""
    made = open_book(str(tmp_path / "other.sqlite"))
    yield made
    made.close()


def _open(book: Book, label: str = "LB-0001", model: str = _MODEL) -> tuple[Unit, tuple[Entry, ...]]:
    return book.open_unit(Opened(label=label, model=model, intake=Intake(paid=60)), _at(8))


class TestClosedCases:
    def test_a_case_that_two_benches_closed_counts_once(self, book: Book, other: Book, tmp_path: Path) -> None:
        unit, _ = _open(book)
        taken_in(other, str(exported(book, tmp_path / "a")))
        for bench, hour, brought in ((book, 10, 250), (other, 11, 300)):
            closed, paper = _known([_FLEX], _SITES, brought=brought)
            bench.record(unit, [closed], _at(hour), [paper])
        taken_in(book, str(exported(other, tmp_path / "b")))
        assert book.fared(_MODEL) == Fared(
            on_the_bench=0,
            endings=(EndingCount(ending="repaired", cases=1, priced=1, brought=300, spent=60, minutes=0),),
            known=1,
            causes=(("open:top-case-flex", 1),),
        )
        assert (book.experience(_MODEL).own, book.experience(_MODEL).sites) == (1, {"open:top-case-flex": 1})
        assert book.experience("brackwell-heron-14").classes["open"].failed == 1

    def test_how_a_models_units_fared(self, book: Book) -> None:
        for number, (ending, brought) in enumerate(((Ending.REPAIRED, 200), (Ending.REPAIRED, None))):
            unit, _ = _open(book, f"LB-{number}")
            noted = Noted(text="x", cost=5, minutes=30)
            book.record(unit, [noted, Closed(ending=ending, model=_MODEL, brought=brought)], _at(9))
        _open(book, "LB-9")
        assert book.fared(_MODEL) == Fared(
            on_the_bench=1,
            endings=(EndingCount(ending="repaired", cases=2, priced=1, brought=200, spent=65, minutes=30),),
            known=0,
            causes=(),
        )
        assert book.models() == ((_MODEL, 2, 1),)

    def test_a_model_that_is_told_after_the_closing_has_the_case(self, book: Book) -> None:
        unit, (opening,) = _open(book, model="")
        book.record(unit, [Closed(ending=Ending.REPAIRED, brought=9)], _at(9))
        known = Opened(label="LB-0001", model=_MODEL)
        book.record(unit, [Amended(entry=opening.id, reason="known", instead=known)], _at(10))
        assert book.models() == ((_MODEL, 1, 0),)
        assert sum(each.cases for each in book.fared(_MODEL).endings) == 1

    def test_one_with_its_cause_stays_with_the_model_that_the_cause_is_told_in(self, book: Book) -> None:
        unit, (opening,) = _open(book)
        closed, paper = _known([_FLEX], _SITES)
        book.record(unit, [closed], _at(9), [paper])
        heron = Opened(label="LB-0001", model="brackwell-heron-14")
        book.record(unit, [Amended(entry=opening.id, reason="misread", instead=heron)], _at(10))
        assert book.fared(_MODEL).known == 1
        assert book.fared("brackwell-heron-14").endings == ()

    def test_a_closing_with_a_model_that_is_none_counts_for_the_units_own(self) -> None:
        assert model_of(Closed(ending=Ending.REPAIRED, model="../x.toml"), _MODEL) == _MODEL
        assert model_of(Closed(ending=Ending.REPAIRED, model=_MODEL), "") == _MODEL

    def test_a_site_counts_the_cases_of_units_that_had_it(self, book: Book) -> None:
        """Three plain units, one with a fingerprint reader: the reader was there, and could have failed, once."""
        plain = Variant(id="plain", name="plain", match=Match(), without=("fingerprint",))
        profile = replace(LARCH, variants=(plain,))
        for number, variant in enumerate(("plain", "plain", "plain", "")):
            closed, paper = _known([_FLEX], classes_of(profile, variant), model=profile.id)
            unit, _ = _open(book, f"LB-{number}", profile.id)
            book.record(unit, [closed], _at(9), [paper])
        seen = book.experience(profile.id)
        assert seen.own == 4
        told = grounds(profile, "", seen)
        assert (told["dead:fingerprint"].own.exposed, told["dead:keyboard"].own.exposed) == (1, 4)
        assert told["open:top-case-flex"].own.failed == 4

    def test_a_model_without_a_case_has_no_experience_of_its_own(self, book: Book) -> None:
        seen = book.experience(_MODEL)
        assert (seen.own, seen.exposed, seen.own_tally("dead:keyboard").exposed) == (0, None, 0)
