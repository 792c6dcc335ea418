"""The other pages: what is being read, what is asked, what is typed."""

from __future__ import annotations

import pytest
from onboard.scenes import SIZES
from support.hostile import HOSTILE

from usbwatch.onboard.choice_page import CHOICE_KEYS, Choice, choice_page, notice_page, typing_page
from usbwatch.onboard.foot import KEYS, foot_lines
from usbwatch.onboard.looking_page import STAGES, Looking, looking_page, looking_words
from usbwatch.onboard.on_unit import on_unit
from usbwatch.show.lines import Line, line

AT_SIZES = pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")


def fits(lines: list[Line], size: tuple[int, int]) -> str:
    """The words of a page, which has exactly its size and only letters that the console has."""
    assert len(lines) == size[1]
    for one in lines:
        assert len(one.text) <= size[0]
        assert one.text.isprintable()
        one.text.encode("cp437")
    return " ".join(" ".join(one.text for one in lines).split())


@AT_SIZES
@pytest.mark.parametrize("stage", range(len(STAGES)))
def test_what_is_being_read_stands_on_the_first_screen(stage: int, size: tuple[int, int]) -> None:
    shown = fits(looking_page(Looking(stage=stage), *size, "0.1.0"), size)
    assert "usbwatch is looking at this unit" in shown
    assert f"> {STAGES[stage]} ..." in shown
    assert "Nothing has to be pressed" in shown


def test_each_stage_is_said_once_on_the_line() -> None:
    said = [looking_words(Looking(stage=stage), "0.1.0") for stage in range(len(STAGES))]
    assert all(STAGES[stage] in said[stage] for stage in range(len(STAGES)))
    assert ["Nothing has to be pressed" in one for one in said] == [True, False, False]


@AT_SIZES
def test_every_choice_has_its_key(size: tuple[int, int]) -> None:
    items = tuple((key, f"step {key}") for key in CHOICE_KEYS)
    shown = fits(choice_page(Choice(title="Which?", items=items, warning="Ground yourself."), *size), size)
    assert all(f"{key} step {key}" in shown for key in CHOICE_KEYS)
    assert "! Ground yourself." in shown
    assert "Any other key: back" in shown


@AT_SIZES
@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_what_is_hostile_stays_in_its_place(text: str, size: tuple[int, int]) -> None:
    fits(choice_page(Choice(title="Which?", items=(("1", text), ("2", "well"))), *size), size)
    fits(typing_page("Label", (), text, *size), size)


@AT_SIZES
def test_the_end_of_what_is_typed_is_in_sight(size: tuple[int, int]) -> None:
    shown = fits(typing_page("Label of this unit", ["why"], "x" * 150 + "LB-0001", *size), size)
    assert "LB-0001_" in shown


@AT_SIZES
def test_a_page_that_is_too_long_says_that_it_goes_on(size: tuple[int, int]) -> None:
    shown = fits(notice_page([line(f"row {number}") for number in range(99)], "Any key: back", *size), size)
    assert "... Any key: back" in shown


@AT_SIZES
def test_the_foot_is_one_line_and_names_power_off(size: tuple[int, int]) -> None:
    for keys in (True, False):
        (foot,) = foot_lines(size[0], keys=keys)
        assert len(foot.text) <= size[0]
        assert "off" in foot.text


def test_no_two_keys_are_the_same() -> None:
    assert len(KEYS) == len({key.lower() for key in KEYS})


def test_advice_names_keys_and_no_command() -> None:
    told = [
        "run usbwatch handcheck keyboard on the unit; or try it, and add --answer all-keys-type=yes|no",
        "capture on the unit itself, or insist with --profile",
        "Keyboard: does it stay? Watch the unit for a minute or longer (usbwatch watch)",
    ]
    for text in map(on_unit, told):
        assert "usbwatch" not in text
        assert "--" not in text
        assert text[-3:] in ("(a)", "(p)", "(w)")
