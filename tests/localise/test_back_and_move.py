"""The old part put back, and a module moved to another connector: what they say of the part."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, found

from usbwatch.localise import believe, suspects_of
from usbwatch.localise.courses import courses
from usbwatch.localise.fates import BAD_PART, MISSED
from usbwatch.localise.paths import lay_out
from usbwatch.model import Advice, Look, Step, StepKind, Suspects
from usbwatch.plan import plan

UNIT = replace(
    HERON,
    parts=tuple(
        replace(each, joins=("mainboard", "top-case"), spare="the second connector")
        if each.id == "top-case-flex"
        else each
        for each in HERON.parts
    ),
)
LAYOUT = lay_out(UNIT)
NUMBER = {site.id: number for number, site in enumerate(LAYOUT.sites)}
SWAPPED, BACK = (Step(kind=kind, of="top-case") for kind in (StepKind.SWAP, StepKind.BACK))
FITTED = Step(kind=StepKind.FIT, of="top-case")
MOVED = Step(kind=StepKind.MOVE, of="top-case-flex")
INPUTS = ("keyboard", "touchpad")


def look(*steps: Step, lost: tuple[str, ...] = ()) -> Look:
    return Look(findings=found(UNIT, absent=lost), steps=steps)


def told(*looks: Look) -> Suspects:
    return suspects_of(believe(UNIT, looks))


def chance(found_: Suspects, part: str) -> float:
    return next(each.probability for each in found_.parts if each.part == part)


def there(site: str, *looks: Look) -> dict[tuple[bool, ...], float]:
    """By looks in which it acted, the probability of a fault of one site."""
    taken = [each for each in courses(LAYOUT.sites, looks, UNIT) if each.site == NUMBER[site]]
    well = 1 / (1 + sum(each.fault.odds for each in taken))
    found_: dict[tuple[bool, ...], float] = {}
    for each in taken:
        found_[each.acts] = found_.get(each.acts, 0.0) + well * each.fault.odds
    return found_


@pytest.mark.parametrize("first", [SWAPPED, FITTED], ids=["on trial", "bought"])
def test_the_old_part_is_as_it_was(first: Step) -> None:
    site = LAYOUT.sites[NUMBER["dead:keyboard"]]
    chances = there(site.id, look(), look(first), look(BACK))
    own = [each.prior for each in LAYOUT.sites if each.part == "top-case"]
    new_is_bad = BAD_PART[first.kind] * site.prior / sum(own)
    # Bad, mended by the other part, and bad again; a slip of the pen leaves the other part in.
    assert chances[True, False, True] == pytest.approx(
        site.prior * (1 - MISSED) * (1 - new_is_bad) * (1 - MISSED), rel=1e-9
    )
    assert sum(chance for acts, chance in chances.items() if acts[0]) == pytest.approx(site.prior, rel=1e-9)


def test_of_several_that_were_put_in_the_first_one_comes_back() -> None:
    chances = there("dead:keyboard", look(), look(SWAPPED), look(FITTED), look(BACK))
    assert chances[True, False, False, True] > 0.98 * LAYOUT.sites[NUMBER["dead:keyboard"]].prior


def test_well_with_the_old_part_says_that_it_was_the_connector() -> None:
    mended = told(look(lost=INPUTS), look(SWAPPED))
    was_good = told(look(lost=INPUTS), look(SWAPPED), look(BACK))
    assert chance(mended, "top-case") < 0.05  # it is the one that was put in
    assert chance(was_good, "top-case") < 0.25 * chance(told(look(lost=INPUTS)), "top-case")
    beliefs = believe(UNIT, (look(lost=INPUTS), look(SWAPPED), look(BACK)))
    opened = [n for n, course in enumerate(beliefs.courses) if course.site == NUMBER["open:top-case-flex"]]
    # The rest is mostly the same flex, making contact at times.
    mended_opened = sum(beliefs.marginals[n] for n in opened if not beliefs.courses[n].lasts)
    assert mended_opened > 0.5 > chance(told(look(lost=INPUTS)), "top-case") > chance(was_good, "top-case")


def test_lost_again_with_the_old_part_convicts_it() -> None:
    again = told(look(lost=INPUTS), look(SWAPPED), look(BACK, lost=INPUTS))
    assert chance(again, "top-case") > 0.9 > chance(told(look(lost=INPUTS)), "top-case")
    assert chance(again, "top-case") < 1


def test_the_new_one_that_changed_nothing_goes_back_once_the_true_cause_is_mended() -> None:
    """The new top case changed nothing, a new flex did; with the old top case all is well: the new one is free."""
    flex = Step(kind=StepKind.FIT, of="top-case-flex")
    looks = (look(lost=INPUTS), look(FITTED, lost=INPUTS), look(flex), look(BACK))
    assert told(*looks).nothing_wrong > 0.7
    # What a capture does not show, such as keys that do nothing, stays as it is in any unit.
    assert chance(told(*looks), "top-case") == pytest.approx(chance(told(look()), "top-case"), abs=0.005)
    assert plan(believe(UNIT, looks), looks[-1].findings).advice is Advice.NOTHING_WRONG


def test_put_back_without_anything_put_in_is_no_more_than_seating_it() -> None:
    one, other = told(look(lost=INPUTS), look(BACK, lost=INPUTS)), told(look(lost=INPUTS))
    assert chance(one, "top-case") > chance(other, "top-case")  # its flex was seated again, and that changed nothing
    put_in = told(look(lost=INPUTS), look(SWAPPED), look(BACK, lost=INPUTS))
    assert chance(one, "top-case") < chance(put_in, "top-case")


def test_another_connector_tells_the_module_from_the_one_that_it_left() -> None:
    before = told(look(lost=INPUTS))
    still, well = told(look(lost=INPUTS), look(MOVED, lost=INPUTS)), told(look(lost=INPUTS), look(MOVED))
    assert chance(still, "top-case-flex") < 0.2 * chance(before, "top-case-flex")
    assert chance(still, "top-case") > chance(before, "top-case")
    assert chance(well, "top-case-flex") < 0.05
    assert well.nothing_wrong > 0.7


def test_it_is_proposed_where_the_profile_names_another_connector_and_once() -> None:
    lost = look(lost=INPUTS)
    (move,) = (
        each for each in plan(believe(UNIT, (lost,)), lost.findings).proposals if each.id == "move:top-case-flex"
    )
    assert move.words == "Move what is on top case flex to the second connector, and capture again"
    assert "open:top-case-flex" in move.mends
    assert "dead:keyboard" not in move.mends
    assert move.breaks
    after = look(MOVED, lost=INPUTS)
    for unit, looks in ((UNIT, (lost, after)), (HERON, (lost,))):
        proposed = plan(believe(unit, looks), looks[-1].findings).proposals
        assert "move:top-case-flex" not in {each.id for each in proposed}
