"""A danger that a hand check has shown is not forgotten."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, found, part

from usbwatch.localise import believe, suspects_of
from usbwatch.localise.sites import PRIORS, SiteKind, sites
from usbwatch.model import Answer, HandCheck, Look, Step, StepKind, Suspects, Symptom
from usbwatch.model.plan import Advice
from usbwatch.plan import plan

SAID = "A swollen pack: stop."
FLAT = HandCheck(id="flat", question="Is the pack flat?", needs=("battery-pack",), stop=SAID)
OF_A_DEVICE = HandCheck(id="cool", question="Does the gauge stay cool?", needs=("gauge",), stop=SAID)
PROFILE = replace(HERON, checks=(*HERON.checks, FLAT, OF_A_DEVICE))


def look(*steps: Step, **answers: bool) -> Look:
    return Look(findings=found(PROFILE, absent=("keyboard",), answers=answers), steps=steps)


FITTED, ON_TRIAL = (Step(kind=kind, of="battery-pack") for kind in (StepKind.FIT, StepKind.SWAP))
PUT_BACK = Step(kind=StepKind.BACK, of="battery-pack")
SEATED = Step(kind=StepKind.RESEAT, of="battery-plug")
ELSEWHERE = Step(kind=StepKind.FIT, of="top-case")


@pytest.mark.parametrize(
    ("looks", "danger"),
    [
        ([look(flat=False)], True),
        ([look(flat=True)], False),
        ([look(flat=False), look()], True),
        ([look(flat=False), look(keys=True), look()], True),
        ([look(flat=False), look(flat=True)], False),
        ([look(flat=True), look(flat=False)], True),
        ([look(flat=False), look(SEATED)], True),
        ([look(flat=False), look(ELSEWHERE)], True),
        ([look(flat=False), look(FITTED)], False),
        ([look(flat=False), look(ON_TRIAL)], False),
        ([look(flat=False), look(FITTED, flat=False)], True),
        ([look(flat=False), look(FITTED), look(PUT_BACK)], True),
        ([look(flat=True), look(FITTED), look(PUT_BACK)], False),
        ([look(cool=False), look(FITTED)], False),
        ([look(cool=False), look(ELSEWHERE)], True),
    ],
    ids=[
        "no", "yes", "not asked again", "two looks ago", "no, then yes", "yes, then no", "its plug seated again",
        "another part fitted", "a new one fitted", "one on trial", "the new one too",
        "the old one put back", "a good one put back", "what holds the device", "not it",
    ],
)  # fmt: skip
def test_a_danger_stands_until_it_is_seen_to_be_gone_or_its_part_is(looks: list[Look], *, danger: bool) -> None:
    told = plan(believe(PROFILE, looks), looks[-1].findings)
    assert told.stops == ((SAID,) if danger else ())
    assert (told.advice is Advice.DANGER) is danger


# A danger is rare, and its question is asked for safety, not as evidence.

SILENT = found(PROFILE, gauge=Symptom.MUTE)


def ways(told: Suspects) -> dict[str, float]:
    return {site.id: chance for each in told.parts for site, chance in each.sites}


def test_a_silent_gauge_hardly_makes_a_swollen_pack_likelier() -> None:
    told = ways(suspects_of(believe(PROFILE, (Look(findings=SILENT),))))
    assert told["danger:flat"] == pytest.approx(PRIORS[SiteKind.DANGER], rel=1e-6)


@pytest.mark.parametrize("flat", [True, False])
def test_the_answer_says_nothing_of_any_other_fault(flat: bool) -> None:
    answered = replace(SILENT, answers=(Answer(check="flat", yes=flat),))
    before, then = (ways(suspects_of(believe(PROFILE, (Look(findings=each),)))) for each in (SILENT, answered))
    for way, chance in before.items():
        assert way == "danger:flat" or then[way] == pytest.approx(chance, rel=1e-6)
    assert then["danger:flat"] < 0.001 if flat else then["danger:flat"] > 0.8


def test_it_is_told_with_every_step_that_touches_the_part_until_it_is_answered() -> None:
    for answers, told in (((), True), ((Answer(check="flat", yes=True),), False)):
        asked = replace(SILENT, answers=answers)
        proposed = {each.id: each for each in plan(believe(PROFILE, (Look(findings=asked),)), asked).proposals}
        assert "check:flat" not in proposed
        first = f"Look first (flat): {FLAT.question}"
        assert (first in proposed["fit:battery-pack"].cautions) is told
        assert first not in proposed["reseat:top-case-flex"].cautions


def test_a_danger_of_nothing_that_can_be_replaced_has_no_site_and_still_stops() -> None:
    smell = HandCheck(id="smell", question="Is it free of a burnt smell?", stop=SAID)
    bare = replace(HERON, checks=(smell,), parts=(*HERON.parts, part("lead")))
    assert not [site for site in sites(bare) if site.id.startswith("danger:")]
    findings = found(bare, answers={"smell": False})
    assert plan(believe(bare, (Look(findings=findings),)), findings).stops == (SAID,)
