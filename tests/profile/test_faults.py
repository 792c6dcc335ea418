"""Faults in words."""

from __future__ import annotations

import pytest
from support.hostile import HOSTILE

from usbwatch.drafting.pieces import comment
from usbwatch.profile.faults import MOST, Fault, one_line, pairs, place_text, quoted, shown_path, suggestion
from usbwatch.safe import safe


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("plain", "'plain'"),
        ("it's", '"it\'s"'),
        ("\x1b[2J", "'\\x1b[2J'"),
        ("x" * 60, "'" + "x" * 60 + "'"),
        ("x" * 61, "'" + "x" * 60 + "…'"),
        (True, "true"),
        (False, "false"),
        (7, "7"),
        (1.5, "1.5"),
        ([1], "a list"),
        ({}, "a table"),
    ],
    ids=str,
)
def test_a_value_is_quoted(value: object, shown: str) -> None:
    assert quoted(value) == shown


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_a_hostile_string_is_shown_escaped_and_short(text: str) -> None:
    for shown in (quoted(text), place_text((text, 0, text)), one_line(text), shown_path(text)):
        assert shown.isprintable()
    assert len(quoted(text)) < 700
    assert len(one_line(text)) < 2100


def test_a_place_is_the_path_to_a_value() -> None:
    assert place_text(("device", "keyboard", "needs", 0)) == "device.keyboard.needs[0]"
    assert place_text(()) == ""
    assert place_text(("device", "odd key", "x.y")) == "device.'odd key'.'x.y'"


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ("locaton", "; did you mean location?"),
        ("Location", "; did you mean location?"),
        ("colour", ""),
        ("", ""),
        (3, ""),
        ("location" * 1000, ""),
    ],
)
def test_the_nearest_word_is_suggested_when_there_is_one(wrong: object, told: str) -> None:
    assert suggestion(wrong, ["name", "location", "identity"]) == told


def test_faults_come_in_the_order_of_lines_each_once() -> None:
    later, sooner = Fault(place=("b",), problem="two"), Fault(place=("a",), problem="one")
    lines = {("a",): 3, ("b",): 9}
    told = pairs([later, sooner, later], lambda place: lines[place])  # type: ignore[index]  # these two places alone
    assert told == (("line 3, a", "one"), ("line 9, b", "two"))


def test_a_fault_of_the_whole_file_has_no_place() -> None:
    assert pairs([Fault(place=(), problem="bad")], lambda _: 0) == (("", "bad"),)


@pytest.mark.parametrize(("count", "told"), [(MOST, MOST), (MOST + 1, MOST + 1), (MOST * 5, MOST + 1)])
def test_a_flood_of_faults_is_cut(count: int, told: int) -> None:
    faults = [Fault(place=("k", number), problem="bad") for number in range(count)]
    shown = pairs(faults, lambda place: int(place[-1]) + 1)
    assert len(shown) == told
    assert shown[0] == ("line 1, k[0]", "bad")


@pytest.mark.parametrize("text", ["a\u3164b", "e" + "\u0301" * 30, "a\u2800\x1b[2J", "x\ny"])
def test_what_shows_nothing_or_towers_is_escaped_wherever_a_file_or_a_message_holds_it(text: str) -> None:
    """The one rule of ``usbwatch.safe``, for comments of a draft too."""
    for shown in (quoted(text), one_line(text), shown_path(text), *comment(text)):
        assert safe(shown, len(shown)) == shown
        assert "\\" in shown
