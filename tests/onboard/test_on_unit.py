"""Advice of the commands, in the words of the keys that do the same on the unit."""

from __future__ import annotations

import pytest

from usbwatch.onboard.on_unit import on_unit
from usbwatch.plan import questions
from usbwatch.profile import known


@pytest.mark.parametrize(
    ("said", "on_the_unit"),
    [
        (
            "run usbwatch handcheck keyboard on the unit; or try it, and add --answer all-keys-type=yes|no",
            "do the hand checks (h); or try it, and answer it (a)",
        ),
        (
            "does the screen go dark, or usbwatch handcheck lid find it?",
            "does the screen go dark, or the hand checks (h) find it?",
        ),
        ("while watching (usbwatch watch): does anything come or go?", "while watching (w): does anything come or go?"),
    ],
)
def test_commands_become_keys(said: str, on_the_unit: str) -> None:
    assert on_unit(said) == on_the_unit


def test_no_question_of_a_shipped_profile_asks_for_a_command_that_the_unit_has_not() -> None:
    asked = [on_unit(words) for profile in known() for words in questions(profile).values()]
    assert len(asked) > 20
    assert [words for words in asked if "usbwatch" in words] == []
