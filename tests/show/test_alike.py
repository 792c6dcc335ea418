"""Suspects that no capture can tell apart."""

from __future__ import annotations

from dataclasses import replace

from support.invented import NO_SUSPECTS, TOP_CASE_LOST, outcome, suspicion

from usbwatch.model import Action, Advice, PartSuspicion, Plan, Proposal
from usbwatch.show.alike import Alike, alike

CAPS_LIGHT = TOP_CASE_LOST.plan.proposals[1]
FLEX = suspicion("top-case-flex", 0.5, explains=("hub",))
CASE = suspicion("top-case", 0.3, explains=("hub",))


def groups(parts: tuple[PartSuspicion, ...], *proposals: Proposal) -> tuple[Alike, ...]:
    return alike(replace(NO_SUSPECTS, parts=parts), Plan(advice=Advice.GO_ON, proposals=proposals))


def test_parts_with_the_same_evidence_are_one_group() -> None:
    assert groups((FLEX, CASE)) == (Alike(parts=("top-case-flex", "top-case")),)


def test_parts_that_differ_in_anything_are_told_apart() -> None:
    assert groups((FLEX, replace(CASE, explains=("hub", "camera")))) == ()
    assert groups((FLEX, replace(CASE, leaves=("camera",)))) == ()
    assert groups((FLEX, replace(CASE, against=("panel",)))) == ()


def test_what_explains_nothing_or_is_next_to_impossible_is_in_no_group() -> None:
    assert groups((FLEX, replace(CASE, probability=0.01))) == ()
    assert groups((replace(FLEX, explains=()), replace(CASE, explains=()))) == ()


def test_the_cheapest_thing_that_tells_them_apart_is_named() -> None:
    dear = replace(CAPS_LIGHT, of="dear", cost=40.0, information_bits=1.0)
    (group,) = groups((FLEX, CASE), dear, CAPS_LIGHT)
    assert group.cheapest == CAPS_LIGHT


def test_what_points_to_one_part_whatever_comes_of_it_tells_nothing() -> None:
    same = replace(
        CAPS_LIGHT, outcomes=(outcome("yes", 0.5, "top-case", 0.4, 9), outcome("no", 0.5, "top-case", 0.9, 9))
    )
    (group,) = groups((FLEX, CASE), same, replace(CAPS_LIGHT, information_bits=0.01))
    assert group.cheapest is None


def test_what_a_better_capture_would_show_can_be_told_apart_by_a_capture() -> None:
    assert groups((FLEX, CASE), replace(CAPS_LIGHT, action=Action.LOOK)) == ()
