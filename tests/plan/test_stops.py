"""A danger that a hand check has shown is not forgotten."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, found

from usbwatch.localise import believe
from usbwatch.model import HandCheck, Look, Step, StepKind
from usbwatch.model.plan import Advice
from usbwatch.plan import plan

SAID = "A swollen pack: stop."
FLAT = HandCheck(id="flat", question="Is the pack flat?", needs=("battery-pack",), stop=SAID)
OF_A_DEVICE = HandCheck(id="cool", question="Does the gauge stay cool?", needs=("gauge",), stop=SAID)
PROFILE = replace(HERON, checks=(*HERON.checks, FLAT, OF_A_DEVICE))


def look(*steps: Step, **answers: bool) -> Look:
    return Look(findings=found(PROFILE, absent=("keyboard",), answers=answers), steps=steps)


FITTED, ON_TRIAL = (Step(kind=kind, of="battery-pack") for kind in (StepKind.FIT, StepKind.SWAP))
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
        ([look(cool=False), look(FITTED)], False),
        ([look(cool=False), look(ELSEWHERE)], True),
    ],
    ids=[
        "no", "yes", "not asked again", "two looks ago", "no, then yes", "yes, then no", "its plug seated again",
        "another part fitted", "a new one fitted", "one on trial", "the new one too", "what holds the device", "not it",
    ],
)  # fmt: skip
def test_a_danger_stands_until_it_is_seen_to_be_gone_or_its_part_is(looks: list[Look], *, danger: bool) -> None:
    told = plan(believe(PROFILE, looks), looks[-1].findings)
    assert told.stops == ((SAID,) if danger else ())
    assert (told.advice is Advice.DANGER) is danger
