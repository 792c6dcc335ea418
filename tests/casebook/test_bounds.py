"""What is beyond any bench comes into no book: neither by an archive nor by whoever records."""

from __future__ import annotations

from typing import Any

import pytest

from usbwatch.casebook import Book, When
from usbwatch.casebook.bounds import LONGEST_MODEL, MOST_MINUTES, MOST_MONEY, a_day_after, beyond, is_model
from usbwatch.errors import Refused
from usbwatch.model import Step, StepKind
from usbwatch.model.history import (
    Amended,
    Cause,
    Closed,
    Ending,
    Intake,
    Noted,
    Opened,
    Recorded,
    Reopened,
    StepDone,
)

_NOW = When(now="2026-03-02T09:20:00Z")
_STEP = Step(kind=StepKind.DRAIN, of="")
_REPAIRED = Ending.REPAIRED

_BEYOND: dict[str, tuple[Recorded, str]] = {
    "a cost beyond any": (Noted(text="x", cost=2**53 - 1), "not from 0 to 1,000,000,000"),
    "a cost just beyond": (StepDone(step=_STEP, cost=MOST_MONEY + 1), "sum"),
    "a negative cost": (StepDone(step=_STEP, cost=-1), "sum"),
    "a negative price": (Closed(ending=_REPAIRED, brought=-1), "sum"),
    "a price beyond any": (Closed(ending=_REPAIRED, brought=10**17), "sum"),
    "minutes beyond any": (Noted(text="x", minutes=MOST_MINUTES + 1), "minutes that are not from 0 to 100,000"),
    "negative minutes": (StepDone(step=_STEP, minutes=-1), "minutes"),
    "a model that is a path": (Closed(ending=_REPAIRED, model="../x"), "no id of a profile"),
    "a long model": (Closed(ending=_REPAIRED, model="x" * 9000), "no id of a profile"),
    "a long site": (Closed(ending=_REPAIRED, causes=(Cause(site="x" * 201),)), "more than 200 characters"),
    "a long class": (Closed(ending=_REPAIRED, causes=(Cause(site="a", site_class="x" * 201),)), "more than 200"),
}


@pytest.mark.parametrize("case", _BEYOND)
def test_what_is_beyond_any_bench_is_not_recorded(case: str, book: Book) -> None:
    fact, why = _BEYOND[case]
    unit, _ = book.open_unit(Opened(label="LB-0001"), _NOW)
    (note,) = book.record(unit, [Noted(text="x")], _NOW)
    for one in (fact, Amended(entry=note.id, reason="x", instead=fact)):
        with pytest.raises(Refused, match=why):
            book.record(unit, [one], _NOW)
        with pytest.raises(Refused, match=why):
            book.draft(unit, [one], _NOW)
    assert len(book.entries(unit)) == 2


@pytest.mark.parametrize("paid", [-1, 2**53 - 1])
def test_nor_is_a_unit_that_was_paid_so(paid: int, book: Book) -> None:
    with pytest.raises(Refused, match="sum"):
        book.open_unit(Opened(label="LB-0001", intake=Intake(paid=paid)), _NOW)
    assert book.units() == ()
    assert beyond(Reopened(intake=Intake(paid=paid)))


def test_what_is_just_within_is_recorded(book: Book) -> None:
    unit, _ = book.open_unit(Opened(label="LB-0001", intake=Intake(paid=MOST_MONEY)), _NOW)
    noted = Noted(text="x", cost=MOST_MONEY, minutes=MOST_MINUTES)
    cause = Cause(site="x" * 200, site_class="x" * 200)
    closed = Closed(ending=_REPAIRED, model="x" * LONGEST_MODEL, brought=0, cause_known=True, causes=(cause,))
    assert len(book.record(unit, [noted, closed], _NOW)) == 2
    assert book.store.rows("SELECT spent, minutes FROM outcome") == [(2 * MOST_MONEY, MOST_MINUTES)]


@pytest.mark.parametrize("model", ["../x", "x.toml", "/etc/x", "a\\b", "Larch 13", "-a", "a-", "a--b", "a\n", "x" * 61])
def test_a_unit_is_of_no_model_that_could_name_a_file(model: str, book: Book) -> None:
    with pytest.raises(Refused, match="id of a profile"):
        book.open_unit(Opened(label="LB-0001", model=model), _NOW)
    assert not is_model(model)


def test_an_id_of_a_profile_is_what_a_profile_says_it_is() -> None:
    """The form stands twice, since the profile's shape takes a while to import."""
    import msgspec

    from usbwatch.profile.shape import Id

    def taken(text: Any) -> bool:  # noqa: ANN401 - whatever a file holds
        try:
            msgspec.convert(text, Id)
        except msgspec.ValidationError:
            return False
        return True

    for text in ("fernhill-larch-13", "a", "0", "x" * 60, "x" * 61, "", "a-", "-a", "a--b", "A", "a.toml", "a/b", "é"):
        assert is_model(text) == taken(text), text


def test_a_day_after_the_last_day_of_the_calendar_is_that_day() -> None:
    assert a_day_after("9999-12-31T09:00:00Z") == "9999-12-31T23:59:59Z"
