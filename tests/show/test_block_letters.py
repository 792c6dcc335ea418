"""Big letters that can be told apart, and exactly as wide as is said."""

from __future__ import annotations

import string
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from usbwatch.show.block_letters import ROWS, can_write, columns, written

LETTERS = string.ascii_uppercase + string.digits


def test_all_letters_and_digits_are_there() -> None:
    assert can_write(LETTERS + " -/+!")
    assert not can_write("é")
    assert not can_write("a\x1b")


def test_no_two_look_alike() -> None:
    shapes = {one: tuple(written(one, "#")) for one in LETTERS}
    assert [pair for pair in combinations(LETTERS, 2) if shapes[pair[0]] == shapes[pair[1]]] == []


@pytest.mark.properties
@settings(deadline=None)
@given(
    text=st.text(st.sampled_from(LETTERS + " -"), min_size=1, max_size=20),
    scale=st.integers(1, 4),
    rows=st.integers(1, 2),
)
def test_a_text_is_as_wide_and_high_as_is_said(text: str, scale: int, rows: int) -> None:
    lines = written(text, "#", scale, rows)
    assert len(lines) == ROWS * rows
    assert {len(line) for line in lines} == {columns(text, scale)}
    assert set("".join(lines)) <= {"#", " "}


@pytest.mark.parametrize(
    ("text", "scale", "width"),
    [("ALL HERE", 1, 40), ("ALL HERE", 2, 80), ("3 MISSING", 1, 40), ("KEYBOARD GONE", 1, 80)],
)
def test_the_usual_words_fit_a_phone_and_a_terminal(text: str, scale: int, width: int) -> None:
    assert columns(text, scale) <= width
