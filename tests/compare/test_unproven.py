"""What came and went is not proven by a later look that merely shows it there.

Common practice, no source: every rule in this file. The watches are of the
invented Larch 13, with events as the kernel would tell them (``support.blinking``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from support.blinking import PLACES, blinks, watch
from support.wired import LARCH as SMALL_LARCH
from support.wired import found

from usbwatch.capture import load
from usbwatch.compare import beside_earlier, findings
from usbwatch.compare.intermittence import LONG_ENOUGH_MS
from usbwatch.model import Capture, Findings, Symptom, Verdict, WatchEvent
from usbwatch.profile import find

LARCH = find("fernhill-larch-13")
HEALTHY = load(str(Path(__file__).parents[2] / "captures" / "larch-13-healthy.json"))
OPENING = load(str(Path(__file__).parents[2] / "captures" / "larch-13-watched.json"))
ON_THE_FLEX = {"keyboard", "touchpad", "fingerprint-reader", "battery"}


def looks(*captures: Capture) -> tuple[Findings, ...]:
    return beside_earlier([findings(one, LARCH) for one in captures], LARCH)


def unproven(found_: Findings) -> set[str]:
    return {one.device for one in found_.findings if one.came_and_went}


def stayed(lasted_ms: int = 4 * LONG_ENOUGH_MS, events: Sequence[WatchEvent] = (), missed: int = 0) -> Capture:
    """The healthy unit, watched for so long at all of its places."""
    places = OPENING.watches[0].watched
    return replace(HEALTHY, watches=(watch(events, lasted_ms=lasted_ms, places=places, missed=missed),))


def test_a_plain_look_proves_nothing_of_what_came_and_went() -> None:
    before, after = looks(OPENING, HEALTHY)
    assert unproven(before) == set()
    assert unproven(after) == ON_THE_FLEX
    keyboard = after.of("keyboard")
    assert (keyboard.verdict, keyboard.symptom) == (Verdict.UNSEEN, Symptom.WORKING)
    assert "came and went" in keyboard.reasons[0]
    assert "Top-case flex" in keyboard.would_tell
    assert "usbwatch watch" in keyboard.would_tell


def test_another_plain_look_does_not_help() -> None:
    assert unproven(looks(OPENING, HEALTHY, HEALTHY)[-1]) == ON_THE_FLEX


def test_a_watch_in_which_it_stayed_proves_it_and_the_looks_after_that_stand() -> None:
    told = looks(OPENING, HEALTHY, stayed(LONG_ENOUGH_MS), HEALTHY)
    assert [unproven(one) for one in told[1:]] == [ON_THE_FLEX, set(), set()]
    assert told[-1].of("keyboard").verdict is Verdict.PRESENT


@pytest.mark.parametrize("last", [stayed(LONG_ENOUGH_MS - 1), stayed(missed=1)], ids=["too short", "news was dropped"])
def test_a_watch_that_could_have_missed_it_proves_nothing(last: Capture) -> None:
    assert unproven(looks(OPENING, last)[-1]) == ON_THE_FLEX


def test_each_device_is_proven_by_itself() -> None:
    """The keyboard leaves again in the second watch; the others stayed, and are proven by it."""
    again = stayed(events=blinks(PLACES["keyboard"], [(20_000, 400)]))
    told = looks(OPENING, again, HEALTHY)
    assert told[1].of("keyboard").symptom is Symptom.INTERMITTENT
    assert unproven(told[1]) == set()
    assert unproven(told[2]) == {"keyboard"}


def test_what_is_wrong_or_unseen_anyhow_stays_so() -> None:
    blinking = found(SMALL_LARCH, keyboard=Symptom.INTERMITTENT)
    for symptom in (Symptom.ABSENT, Symptom.UNSEEN):
        later = found(SMALL_LARCH, keyboard=symptom)
        assert beside_earlier([blinking, later], SMALL_LARCH)[1] == later


def test_looks_in_which_nothing_came_and_went_are_left_alone() -> None:
    plain = tuple(findings(one, LARCH) for one in (HEALTHY, stayed(), HEALTHY))
    assert beside_earlier(plain, LARCH) == plain
