"""What a keyboard sends, as keys; and a key that hangs."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.onboard.keys import DOWN, ENTER, ESCAPE, UP, Pressed, pressed

CASES = {
    "letters": (b"mh", ("m", "h")),
    "enter, both ways": (b"\r", (ENTER,)),
    # Arrows as Linux's console sends them (console_codes(4), and terminfo's kcuu1 and kcud1 of "linux" and "vt100").
    "an arrow": (b"\x1b[A", (UP,)),
    "an arrow in application mode": (b"\x1bOB", (DOWN,)),
    "page down": (b"\x1b[6~", (DOWN,)),
    "a key without a meaning": (b"\x1b[15~", ()),
    "a letter beyond ASCII": ("é".encode(), ("é",)),
    "no letter at all": (b"\xff", ("\ufffd",)),
    "control characters": (b"\x00\x03\x1a", ()),
}


@pytest.mark.parametrize(("sent", "keys"), CASES.values(), ids=CASES)
def test_what_is_sent_is_told_as_keys(sent: bytes, keys: tuple[str, ...]) -> None:
    assert pressed(Pressed(), sent, 0)[1] == keys


@pytest.mark.parametrize(("sent", "keys"), CASES.values(), ids=CASES)
def test_it_may_come_in_pieces(sent: bytes, keys: tuple[str, ...]) -> None:
    state = Pressed()
    found: list[str] = []
    for at in range(len(sent)):
        state, some = pressed(state, sent[at : at + 1], 0)
        found += some
    assert tuple(found) == keys


def test_escape_alone_is_a_key_once_nothing_comes_after_it() -> None:
    state, keys = pressed(Pressed(), b"\x1b", 0)
    assert keys == ()
    assert pressed(state, b"", 50)[1] == (ESCAPE,)


def test_a_key_that_hangs_counts_a_few_times_and_then_no_more() -> None:
    """The kernel repeats a key that is held after 250 ms, each 33 ms (drivers/input/input.c: REP_DELAY, REP_PERIOD)."""
    state = Pressed()
    found: list[str] = []
    for at_ms in (0, *range(250, 60_000, 33)):
        state, keys = pressed(state, b"o", at_ms)
        found += keys
    assert found == ["o"] * 4  # as it was pressed, and three times as it was held


def test_after_a_pause_it_is_a_press_again() -> None:
    state = Pressed()
    found: list[str] = []
    for at_ms in (*range(0, 2000, 33), 4000):
        state, keys = pressed(state, b"o", at_ms)
        found += keys
    assert found == ["o"] * 4


def test_a_person_who_types_is_not_held_up() -> None:
    state = Pressed()
    found: list[str] = []
    for at_ms, letter in enumerate("LB-0011"):
        state, keys = pressed(state, letter.encode(), at_ms * 120)
        found += keys
    assert "".join(found) == "LB-0011"


@pytest.mark.parametrize("gap_ms", [150, 350, 500])
def test_one_key_may_be_pressed_as_often_as_a_label_has_it(gap_ms: int) -> None:
    state = Pressed()
    found: list[str] = []
    for number, letter in enumerate("LB-100000"):
        state, keys = pressed(state, letter.encode(), number * gap_ms)
        found += keys
    assert "".join(found) == "LB-100000"


@pytest.mark.properties
@given(st.lists(st.binary(max_size=20), max_size=20))
def test_nothing_that_is_sent_is_more_than_keys(pieces: list[bytes]) -> None:
    state = Pressed()
    for piece in pieces:
        state, keys = pressed(state, piece, 0)
        assert all(len(key) == 1 or key in (ENTER, ESCAPE, "backspace", UP, DOWN) for key in keys)
        assert all(key.isprintable() for key in keys)
