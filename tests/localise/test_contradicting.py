"""Answers that cannot be so beside the capture, or beside each other, are told and never believed blindly."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, LARCH, device, found, part

from usbwatch.localise import believe, cannot_be_yes, contradictions, suspects_of
from usbwatch.localise.contradicting import Contradiction
from usbwatch.model import HandCheck, Look, Match, PartKind, Symptom, Variant


def test_keys_of_a_keyboard_that_is_not_there_cannot_type() -> None:
    lost = found(HERON, absent=["keyboard"], answers={"keys": True})
    assert contradictions(lost, HERON) == (Contradiction(check="keys", device="keyboard"),)


@pytest.mark.parametrize("answer", [None, False])
def test_without_the_yes_there_is_nothing_to_call_out(answer: bool | None) -> None:
    answers = {} if answer is None else {"keys": answer}
    assert contradictions(found(HERON, absent=["keyboard"], answers=answers), HERON) == ()


@pytest.mark.parametrize("symptom", [s for s in Symptom if s not in (Symptom.ABSENT, Symptom.FAILED)])
def test_what_is_there_or_was_not_seen_contradicts_no_answer(symptom: Symptom) -> None:
    assert contradictions(found(HERON, keyboard=symptom, answers={"keys": True}), HERON) == ()


def test_a_pack_gives_power_without_its_gauge_and_a_screen_is_lit_without_its_connector() -> None:
    lost = found(HERON, absent=["gauge", "panel"], answers={"on-battery": True, "steady-picture": True})
    assert contradictions(lost, HERON) == ()


def test_what_hangs_on_a_lost_hub_is_lost_with_it() -> None:
    unit = replace(LARCH, checks=(HandCheck(id="keys", question="Does every key type?", needs=("keyboard",)),))
    lost = found(unit, absent=["hub"], charged=dict.fromkeys(("keyboard", "touchpad"), "hub"), answers={"keys": True})
    assert contradictions(lost, unit) == (Contradiction(check="keys", device="keyboard"),)
    assert cannot_be_yes(unit.checks[0], found(unit), unit) == ""


def test_a_supply_that_is_off_feeds_nothing() -> None:
    supply = HandCheck(id="supply", question="Is the supply there?", needs=("top-case-rail",))
    flex = HandCheck(id="flex", question="Is the flex whole?", needs=("top-case-flex",))
    unit = replace(HERON, checks=(*HERON.checks, supply, flex))
    answers = {"keys": True, "supply": False, "flex": False}
    # A torn flex leaves some lines whole: of the two only the supply cannot be off.
    assert contradictions(found(unit, answers=answers), unit) == (Contradiction(check="keys", other="supply"),)


def test_what_a_variant_does_not_have_contradicts_nothing() -> None:
    unit = replace(HERON, variants=(Variant(id="bare", name="bare", match=Match(), without=("keyboard",)),))
    lost = replace(found(unit, absent=["keyboard"], answers={"keys": True}), variant="bare")
    assert contradictions(lost, unit) == ()


def test_devices_that_need_each_other_end_the_search() -> None:
    ring = replace(
        HERON,
        parts=(*HERON.parts, part("rail", PartKind.RAIL, "mainboard")),
        devices=(device("a", "hub", "mainboard", "b"), device("b", "hub", "mainboard", "a")),
        checks=(HandCheck(id="c", question="c?", needs=("a",)),),
    )
    assert contradictions(found(ring, absent=["b"], answers={"c": True}), ring) == (
        Contradiction(check="c", device="b"),
    )


def test_a_contradiction_makes_nothing_certain() -> None:
    lost = found(HERON, absent=["keyboard"], answers={"keys": True, "power-button": False})
    told = suspects_of(believe(HERON, (Look(findings=lost),)))
    chances = [told.nothing_wrong, *(p for each in told.parts for _, p in each.sites)]
    assert all(0 < chance < 1 for chance in chances)
