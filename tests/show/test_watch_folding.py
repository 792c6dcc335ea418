"""Returns that follow one another are told as one; nothing else is."""

from __future__ import annotations

from support.watch_scenes import CAMERA, FINGERPRINT, KEYBOARD, TOUCHPAD, back, gone, watched

from usbwatch.model import Change
from usbwatch.show.watch_folding import folded


def test_what_comes_back_one_by_one_is_told_as_one() -> None:
    shown = watched([*gone(1_000, KEYBOARD, TOUCHPAD), *back(4_000, 3_000, KEYBOARD, TOUCHPAD, step_ms=700)], 20_000)
    assert [one.change for one in shown.incidents] == [Change.GONE, Change.BACK, Change.BACK]
    left, returned = folded(shown.incidents)
    assert (left.change, returned.change) == (Change.GONE, Change.BACK)
    assert (returned.devices, len(returned.events)) == (("keyboard", "touchpad"), 2)


def test_a_departure_in_between_or_a_long_time_keeps_them_apart() -> None:
    shown = watched(
        [
            *gone(1_000, KEYBOARD, TOUCHPAD, FINGERPRINT),
            *back(4_000, 3_000, KEYBOARD),
            *gone(4_500, CAMERA),
            *back(5_000, 4_000, TOUCHPAD),
            *back(9_000, 8_000, FINGERPRINT),
        ],
        20_000,
    )
    assert folded(shown.incidents) == list(shown.incidents)
