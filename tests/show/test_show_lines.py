"""Lines are fitted to any width without losing a word."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.show.lines import Line, Style, cells, line, spread, wrapped


def words(lines: list[Line]) -> list[str]:
    return [one.text for one in lines]


CASES = {
    "fits": (line("a few words"), 20, ["a few words"]),
    "breaks at a space": (line("a few words"), 8, ["a few", "words"]),
    "hangs": (line("state  a reason that is long", hang=7), 16, ["state  a reason", "       that is", "       long"]),
    "keeps what sets a line in": (line("    one two"), 8, ["    one", "two"]),
    "breaks a word that is too long": (line("aaaaaaaaaaaa bb"), 5, ["aaaaa", "aaaaa", "aa bb"]),
    "wide letters count twice": (line("键盘键盘 键盘"), 8, ["键盘键盘", "键盘"]),
    "a figure stays with its word": (line("video 2, sound 11, net 1"), 14, ["video 2,", "sound 11,", "net 1"]),
    "a figure stays with its unit": (line("take it, 18 min more"), 11, ["take it,", "18 min more"]),
    "a figure that begins a clause may begin a line": (line("is missing; 1 is not"), 12, ["is missing;", "1 is not"]),
    "held together only where there is room": (line("bluetooth 1"), 9, ["bluetooth", "1"]),
    "a hang too deep for the page": (line("ab cd ef", hang=40), 6, ["ab cd", "   ef"]),
}


@pytest.mark.parametrize(("whole", "width", "expected"), CASES.values(), ids=CASES.keys())
def test_a_line_is_wrapped(whole: Line, width: int, expected: list[str]) -> None:
    assert words(list(wrapped([whole], width))) == expected


def test_styles_survive_the_wrapping() -> None:
    first, second = wrapped([line("plain ", ("bold bold", Style.STRONG))], 10)
    assert [(span.text, span.style) for span in first.spans] == [("plain ", Style.PLAIN), ("bold", Style.STRONG)]
    assert [(span.text, span.style) for span in second.spans] == [("bold", Style.STRONG)]


def test_right_hand_text_goes_below_where_it_does_not_fit() -> None:
    assert words(spread(line("left"), "right", 20)) == ["left           right"]
    assert words(spread(line("left", hang=2), "right", 10)) == ["left", "  right"]


@pytest.mark.properties
@given(
    st.lists(st.tuples(st.text(st.sampled_from("ab 键-"), max_size=40), st.sampled_from(Style)), max_size=5),
    st.integers(min_value=4, max_value=60),
    st.integers(min_value=0, max_value=80),
)
def test_nothing_is_lost_and_nothing_is_too_wide(pieces: list[tuple[str, Style]], width: int, hang: int) -> None:
    whole = line(*pieces, hang=hang)
    lines = list(wrapped([whole], width))
    assert all(cells(one.text) <= width for one in lines)
    assert "".join(words(lines)).replace(" ", "") == whole.text.replace(" ", "")
