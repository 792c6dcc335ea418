"""Profiles on the screen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned
from support.invented import PROFILE

from usbwatch.show import plain, profile_list_view, profile_view
from usbwatch.show.profile_view import profile_sound_view

GOLDEN = Path(__file__).parent / "golden"


@pytest.mark.parametrize("width", [60, 80, 120])
def test_a_profile_is_shown_as_stored(width: int) -> None:
    assert_golden(GOLDEN, f"profile-{width}.txt", plain(profile_view(PROFILE, width), width))


def test_the_list_is_as_stored() -> None:
    generic = replace(PROFILE, id="generic-clamshell", name="Any clamshell", generic=True, checks=())
    assert_golden(GOLDEN, "profile-list-80.txt", plain(profile_list_view([PROFILE, generic]), 80))


def test_an_empty_list_says_so() -> None:
    assert plain(profile_list_view([]), 80) == "No profile is known.\n"


def test_a_sound_profile_is_named_with_its_size() -> None:
    text = plain(profile_sound_view(replace(PROFILE, path="my.toml")), 120)
    assert text == "✓ sound  my.toml: fernhill-larch-13, 19 devices in 4 subassemblies, 2 hand checks\n"


def test_what_could_be_better_stands_under_it() -> None:
    text = plain(profile_sound_view(PROFILE, [("link.spare", "nothing depends on it")]), 120)
    assert text.splitlines()[1:] == ["  note  link.spare: nothing depends on it"]


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_of_a_profile_can_break_the_page(text: str) -> None:
    keep = frozenset({"id", "within", "joins"})
    for page in (profile_view(poisoned(PROFILE, text, keep), 80), profile_list_view([poisoned(PROFILE, text)])):
        assert all(row.isprintable() for row in plain(page, 80).removesuffix("\n").split("\n"))
