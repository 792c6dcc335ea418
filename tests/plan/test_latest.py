"""Of more captures than can be weighed the latest are; what was done and what is dangerous is not forgotten."""

from __future__ import annotations

from dataclasses import replace

from support.wired import HERON, found

from usbwatch.localise import believe
from usbwatch.model import Advice, Answer, HandCheck, Look, Step, StepKind
from usbwatch.plan import plan, without_oldest

FLAT = HandCheck(id="flat", question="Is the pack flat?", needs=("battery-pack",), stop="Take it out of use.")
UNIT = replace(HERON, checks=(*HERON.checks, FLAT))
SEATED, NEW_PACK = Step(kind=StepKind.RESEAT, of="top-case-flex"), Step(kind=StepKind.FIT, of="battery-pack")
FLEXED = Step(kind=StepKind.FLEX, of="display-cable")


def look(*steps: Step, lost: tuple[str, ...] = ("keyboard",), **answers: bool) -> Look:
    return Look(findings=found(UNIT, absent=lost, answers=answers), steps=steps)


def test_the_others_stay_as_they_are() -> None:
    looks = (look(), look(SEATED), look(lost=()))
    assert without_oldest(looks, UNIT) == looks[1:]


def test_what_was_done_before_the_oldest_was_done_before_the_next() -> None:
    # Moved was the flex during the oldest capture alone.
    assert without_oldest((look(SEATED, FLEXED), look(NEW_PACK)), UNIT) == (look(SEATED, NEW_PACK),)


def test_an_answer_stands_while_nothing_is_done() -> None:
    assert without_oldest((look(keys=False), look()), UNIT) == (look(keys=False),)
    assert without_oldest((look(keys=False), look(keys=True)), UNIT) == (look(keys=True),)
    assert without_oldest((look(keys=False), look(SEATED)), UNIT) == (look(SEATED),)


def test_a_danger_stands_until_its_part_is_replaced() -> None:
    for step, stands in ((SEATED, True), (NEW_PACK, False)):
        (kept,) = without_oldest((look(flat=False), look(step)), UNIT)
        assert (Answer(check="flat", yes=False) in kept.findings.answers) is stands
        told = plan(believe(UNIT, (kept,)), kept.findings)
        assert (told.advice is Advice.DANGER) is stands
    (answered,) = without_oldest((look(flat=False), look(SEATED, flat=True)), UNIT)
    assert answered == look(SEATED, flat=True)
