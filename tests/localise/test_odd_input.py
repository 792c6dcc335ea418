"""Odd profiles and odd findings: a plain answer, never a crash, and never a silent 0 % or 100 %."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, device, found, part

from usbwatch.localise import believe, suspects, suspects_of
from usbwatch.localise.every_set import MOST_WRONG
from usbwatch.model import Answer, Findings, HandCheck, Look, PartKind, Profile, Suspects, Symptom


def all_open(told: Suspects) -> bool:
    """Whether nothing is certain either way."""
    chances = [told.nothing_wrong, *(p for each in told.parts for _, p in each.sites)]
    return all(0 < chance < 1 for chance in (*chances, *(each.probability for each in told.parts)))


def test_devices_that_need_each_other() -> None:
    # The profile's reader refuses such a ring with a sentence; should one come through, it is no crash.
    ring = replace(
        HERON, devices=(device("a", "hub", "mainboard", "b"), device("b", "hub", "mainboard", "a")), checks=()
    )
    told = suspects(found(ring, absent=["a", "b"]), ring)
    assert all_open(told)
    assert {"a", "b"} <= set(told.parts[0].explains) | set(told.parts[0].leaves)


@pytest.mark.parametrize("answers", [{"on-battery": True}, {"on-battery": True, "power-button": False, "keys": False}])
def test_checks_that_contradict_what_was_seen_and_each_other(answers: dict[str, bool]) -> None:
    # The gauge is absent and the unit runs on battery; no key types, on a keyboard whose flex carries the power button.
    told = suspects(found(HERON, absent=["gauge"], answers=answers), HERON)
    assert all_open(told)
    assert any(each.against or each.leaves for each in told.hypotheses)


def test_a_check_that_is_answered_both_ways() -> None:
    both = replace(found(HERON), answers=(Answer(check="keys", yes=True), Answer(check="keys", yes=False)))
    assert suspects(both, HERON) == suspects(found(HERON, answers={"keys": False}), HERON)


def test_a_check_that_depends_on_nothing() -> None:
    profile = replace(HERON, checks=(HandCheck(id="smell", question="Is it free of burnt smell?"),))
    told = suspects(found(profile, answers={"smell": False}), profile)
    assert all_open(told)
    assert told.unexplained == ("smell",)


def test_a_part_that_nothing_depends_on_keeps_its_prior() -> None:
    lead = part("spare-lead", PartKind.LINK)
    profile = replace(HERON, parts=(*HERON.parts, lead, part("spare-board")))
    told = suspects(found(profile, absent=["keyboard"]), profile)
    spare = next(each for each in told.parts if each.part == "spare-lead")
    assert all(chance == pytest.approx(site.prior, rel=1e-9) for site, chance in spare.sites)
    # A board with nothing on it has no way to fail, so it is no suspect at all.
    assert "spare-board" not in {each.part for each in told.parts}


def test_a_profile_without_devices() -> None:
    bare = replace(HERON, devices=(), checks=())
    told = suspects(Findings(profile="p", findings=()), bare)
    assert told.hypotheses[0].sites == ()
    assert all_open(told)


def test_a_profile_without_anything() -> None:
    nothing = Profile(id="p", name="p", source="invented")
    told = suspects(Findings(profile="p", findings=()), nothing)
    assert (told.nothing_wrong, told.parts, told.cures) == (1.0, (), ())


def test_more_lost_than_all_sets_can_be_summed_over() -> None:
    devices = tuple(device(f"d{n}", "sensor", "display", "display-cable") for n in range(MOST_WRONG + 3))
    profile = replace(HERON, devices=devices, checks=())
    beliefs = believe(profile, (Look(findings=found(profile, absent=[each.id for each in devices])),))
    told = suspects_of(beliefs)
    assert told.left_out is None  # said, not guessed
    assert told.parts[0].part == "display-cable"
    assert sum(float(chances.sum()) for _, chances in beliefs.rings) == pytest.approx(1, abs=1e-9)
    assert all(0 <= each.probability <= 1 for each in told.parts)


def test_findings_of_devices_and_checks_that_the_profile_does_not_have() -> None:
    strange = found(replace(HERON, devices=(*HERON.devices, device("x", "pen", "display"))), x=Symptom.ABSENT)
    strange = replace(strange, answers=(Answer(check="y", yes=False),))
    assert suspects(strange, HERON) == suspects(found(HERON), HERON)


@pytest.mark.parametrize("depth", [-1, 4])
def test_a_depth_that_cannot_be_had(depth: int) -> None:
    with pytest.raises(ValueError, match=f"depth {depth} cannot be had; give 0 to 3 faults"):
        suspects(found(HERON), HERON, depth=depth)
