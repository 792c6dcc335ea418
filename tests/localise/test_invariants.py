"""What must hold of every unit, whatever was found and done: nothing appears, vanishes or shifts without evidence."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.examples import costly
from support.small_units import benches, units
from support.wired import HERON, bench_sized, device, found

from usbwatch.localise import believe, suspects, suspects_of
from usbwatch.model import (
    ExpectedDevice,
    Finding,
    Findings,
    Look,
    Part,
    PartKind,
    Profile,
    Rung,
    Step,
    StepKind,
    Suspects,
    Symptom,
    Verdict,
)

Bench = tuple[Profile, tuple[Look, ...]]


@pytest.mark.properties
@given(bench=benches())
def test_what_is_unseen_changes_nothing_bit_for_bit(bench: Bench) -> None:
    profile, looks = bench
    bare = tuple(replace(look, findings=_without_unseen(look.findings)) for look in looks)
    assert suspects_of(believe(profile, looks)) == suspects_of(believe(profile, bare))


def _without_unseen(findings: Findings) -> Findings:
    seen = (each for each in findings.findings if each.symptom is not Symptom.UNSEEN and not each.charged_to)
    return replace(findings, findings=tuple(seen))


@pytest.mark.properties
@given(unit=units())
def test_the_order_of_evidence_does_not_matter(unit: tuple[Profile, Findings]) -> None:
    profile, findings = unit
    for order in permutations(findings.findings):
        shuffled = replace(findings, findings=order, answers=findings.answers[::-1])
        assert suspects(shuffled, profile) == suspects(findings, profile)


@pytest.mark.properties
@settings(deadline=None, max_examples=costly(15))
@given(bench=benches())
def test_the_same_input_gives_the_same_output(bench: Bench) -> None:
    profile, looks = bench
    assert suspects_of(believe(profile, looks)) == suspects_of(believe(profile, looks))


@pytest.mark.properties
@given(bench=benches(), twice=st.integers(1, 3))
def test_the_same_look_again_tells_nothing(bench: Bench, twice: int) -> None:
    profile, looks = bench
    again = replace(looks[-1], steps=())
    once, more = (suspects_of(believe(profile, each)) for each in (looks, (*looks, *[again] * twice)))
    assert _chances(more) == pytest.approx(_chances(once), abs=1e-12)


def _chances(found_: Suspects) -> dict[str, float]:
    return {"": found_.nothing_wrong} | {
        site.id: chance for part in found_.parts for site, chance in part.sites if not site.id.startswith("loose:")
    }


@pytest.mark.properties
@given(bench=benches())
def test_no_step_and_no_finding_makes_anything_certain(bench: Bench) -> None:
    # A zero absorbs: no later evidence can undo it.
    profile, looks = bench
    beliefs = believe(profile, looks)
    told = suspects_of(beliefs)
    known = [each for each in told.parts if any(chance for _, chance in each.sites)]
    assert known == list(told.parts)
    chances = [told.nothing_wrong, *(each.probability for each in told.parts), *beliefs.marginals]
    assert all(0 < chance < 1 for chance in chances)


@pytest.mark.parametrize("times", [1, 5, 25])
def test_no_number_of_steps_makes_a_part_certain(times: int) -> None:
    lost = Look(findings=found(HERON, absent=["keyboard", "touchpad"]))
    fitted = replace(lost, steps=tuple(Step(kind=StepKind.FIT, of="top-case") for _ in range(times)))
    told = suspects_of(believe(HERON, (lost, fitted)))
    assert all(0 < chance < 1 for part in told.parts for _, chance in part.sites)
    assert all(0 < part.probability < 1 for part in told.parts)


def test_a_bench_sized_unit_that_is_well_still_has_no_zero() -> None:
    # 34 devices work behind shared sections and links: odds far below what 1 - (1 - p) can hold.
    profile = bench_sized()
    told = suspects(found(profile), profile)
    assert all(0 < part.probability < 1 for part in told.parts)
    assert 0 < min(chance for part in told.parts for _, chance in part.sites) < 1e-10


# A swap that cannot matter, and a device in pieces.


def _aside(*steps: Step) -> tuple[Profile, tuple[Look, ...]]:
    """The Heron with a lamp that nothing is seen of, and a look before and after some steps."""
    profile = replace(
        HERON,
        parts=(
            *HERON.parts,
            Part(id="lamp", kind=PartKind.SUBASSEMBLY, name="lamp"),
            Part(id="lamp-lead", kind=PartKind.LINK, name="lamp lead", joins=("lamp", "mainboard")),
        ),
    )
    lost = Look(findings=found(profile, absent=["panel", "camera"], unseen=["keyboard", "touchpad", "gauge"]))
    # Everything here that could have hung in the meantime was not seen, but for the camera, whose software is not it.
    return profile, (lost, replace(lost, steps=steps))


def test_moving_what_no_symptom_can_reach_tells_nothing() -> None:
    profile, looks = _aside(Step(kind=StepKind.FLEX, of="lamp-lead"), Step(kind=StepKind.RELOAD, of="ethernet"))
    before, after = (suspects_of(believe(profile, each)) for each in (looks[:1], looks))
    others = {id_: chance for id_, chance in _chances(before).items() if not id_.endswith(":ethernet") and id_}
    assert {id_: _chances(after)[id_] for id_ in others} == pytest.approx(others, rel=1e-4)


def test_a_swap_of_what_no_symptom_can_reach_tells_no_more_than_one_more_capture() -> None:
    # Opening the unit leaves it without power: that nothing came back speaks against what hangs, and only that.
    profile, looks = _aside(Step(kind=StepKind.SWAP, of="lamp"))
    drained = (looks[0], replace(looks[0], steps=(Step(kind=StepKind.DRAIN, of=""),)))
    swap, drain = (suspects_of(believe(profile, each)) for each in (looks, drained))
    lamp = {id_ for id_ in _chances(swap) if id_.endswith((":lamp", ":lamp-lead"))} | {""}
    others = {id_: chance for id_, chance in _chances(drain).items() if id_ not in lamp}
    assert {id_: _chances(swap)[id_] for id_ in others} == pytest.approx(others, rel=1e-9)


@pytest.mark.parametrize("pieces", [2, 4])
def test_splitting_a_missing_device_into_interfaces_below_it_changes_nothing(pieces: int) -> None:
    whole = _composite(0)
    split = _composite(pieces)
    one, many = (_chances(suspects(_all_missing(each), each)) for each in (whole, split))
    pieces_own = {id_ for id_ in many if ":pad-" in id_} | {""}
    assert {id_: many[id_] for id_ in many if id_ not in pieces_own} == pytest.approx(
        {id_: one[id_] for id_ in one if id_}, rel=1e-9
    )


def _composite(pieces: int) -> Profile:
    parts = (
        Part(id="board", kind=PartKind.SUBASSEMBLY, name="board"),
        Part(id="case", kind=PartKind.SUBASSEMBLY, name="case"),
        Part(id="flex", kind=PartKind.LINK, name="flex", joins=("board", "case")),
    )
    below: list[ExpectedDevice] = [device(f"pad-{n}", "sensor", "case", "pad") for n in range(pieces)]
    above = (device("pad", "hub", "case", "flex"), device("lamp", "sensor", "case"))
    return Profile(id="p", name="p", source="invented", parts=parts, devices=(*above, *below))


def _all_missing(profile: Profile) -> Findings:
    return Findings(
        profile="p",
        findings=tuple(
            Finding(
                device=each.id,
                verdict=Verdict.MISSING if each.id == "pad" else Verdict.UNSEEN,
                rung=Rung.ABSENT,
                symptom=Symptom.UNSEEN if each.id == "lamp" else Symptom.ABSENT,
                reasons=(),
                charged_to="pad" if each.id.startswith("pad-") else "",
            )
            for each in profile.devices
        ),
    )
