"""Answers about invented units, as the stick shows them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

from usbwatch import profile as profiles
from usbwatch.capture import load
from usbwatch.cli.weighing import weighed
from usbwatch.model import Capture
from usbwatch.onboard.answer import Answer
from usbwatch.onboard.judging import NOT_KNOWN
from usbwatch.show import Seen

__all__ = ["KEPT", "SCENES", "SIZES", "answer_of"]

_CAPTURES = Path(__file__).parents[2] / "captures"

SIZES = ((120, 33), (85, 24), (80, 25), (80, 24), (50, 18))
"""1920x1080, 1366x768 and 800x600 in letters of 16x32, and the consoles of 80 columns."""

KEPT = (
    "Saved on this stick: captures/larch-13-2026-03-02-091400.json. Beside it are .txt to read and .html, the report."
)
LOST = "NOT SAVED: the stick was pulled out. Put it in again, and it is saved then."


@cache
def capture(name: str) -> Capture:
    return load(str(_CAPTURES / f"{name}.json"))


def answer_of(its: Capture, profile: str) -> Answer:
    localised, _ = weighed([Seen(capture=its)], profiles.find(profile), insisted=False)
    return Answer(checked=localised.checked, notices=localised.checked.findings.notices, kept=KEPT)


@cache
def _answer(name: str, profile: str) -> Answer:
    return answer_of(capture(name), profile)


def _unknown() -> Answer:
    """A unit that no profile is for, whose clock is wrong, and a stick that was pulled out."""
    answer = _answer("heron-14-touchpad-silent", "generic-clamshell")
    clock = "The unit's clock looks wrong: it stands before the day on which this stick was built."
    return replace(answer, notices=(clock, NOT_KNOWN, *answer.notices), kept=LOST, is_kept=False, helpers=False)


SCENES = {
    "top-case-lost": _answer("larch-13-top-case-lost", "fernhill-larch-13"),
    "whole": _answer("larch-13-healthy", "fernhill-larch-13"),
    "one-silent": replace(_answer("heron-14-touchpad-silent", "brackwell-heron-14"), money=True, label="LB-0002"),
    "not-known": _unknown(),
    "returned": replace(_answer("larch-13-watched", "fernhill-larch-13"), looks=2),
    "another-model": _answer("plover-12-healthy", "fernhill-larch-13"),
}
