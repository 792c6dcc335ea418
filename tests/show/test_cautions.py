"""Cautions belong to the steps that need them (the cautions themselves: common practice, no source)."""

from __future__ import annotations

import pytest
from support.invented import PARTS, PROFILE

from usbwatch.plan.cautions import BATTERY_FIRST, cautions

CASES = {
    "top-case-flex": (),
    "top-case-board": (),
    "display": ("backlight",),
    "display-cable": ("backlight",),
    "battery-plug": ("lithium",),
    "battery-pack": ("lithium",),
}


@pytest.mark.parametrize(("part", "words"), CASES.items(), ids=CASES.keys())
def test_every_part_has_the_battery_off_first_and_then_its_own(part: str, words: tuple[str, ...]) -> None:
    first, *others = cautions(next(one for one in PARTS if one.id == part), PROFILE)
    assert first == BATTERY_FIRST
    assert len(others) == len(words)
    assert all(word in other for word, other in zip(words, others, strict=True))
