"""What is typed letter by letter comes out as the lines that a terminal's own editing would have made."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from usbwatch.cli.typed_line import Typed, typed_on


def lines(*pieces: bytes) -> tuple[tuple[str, ...], str]:
    """The lines that these pieces end, and what is left."""
    state, found = Typed(), list[str]()
    for piece in pieces:
        state, more = typed_on(state, piece)
        found += more
    return tuple(found), state.text


@pytest.mark.parametrize(
    ("typed", "found", "left"),
    [
        (b"\n", ("",), ""),
        (b"hinge\r", ("hinge",), ""),
        (b"  hinge \nlat", ("hinge",), "lat"),
        (b"hix\x7fnge\x08\x08nge\n", ("hinnge",), ""),
        (b"wrong\x15hinge\n", ("hinge",), ""),
        (b"a\x1b[Ab\x1b[1;5Cc\x1bOPd\x1b[3~e\n", ("abcde",), ""),
        (b"\x1bxa\n", ("a",), ""),
        (b"a\tb\x07\x00c\n", ("abc",), ""),
        ("Deckel à 45°\n".encode(), ("Deckel à 45°",), ""),
        (b"\xff\xfe\n", ("\ufffd\ufffd",), ""),
    ],
)
def test_what_was_typed(typed: bytes, found: tuple[str, ...], left: str) -> None:
    assert lines(typed) == (found, left)
    assert lines(*(bytes([one]) for one in typed)) == (found, left), "one byte at a time"


def test_a_line_without_end_stays_short() -> None:
    (found,), _ = lines(b"k" * 100_000 + b"\n")
    assert len(found) == 200


@pytest.mark.properties
@settings(deadline=None)
@given(typed=st.binary(max_size=200), at=st.integers(0, 200))
def test_it_matters_nowhere_how_the_bytes_are_cut_and_no_line_has_a_control_character(typed: bytes, at: int) -> None:
    assert lines(typed) == lines(typed[:at], typed[at:])
    assert all(letter.isprintable() for line in lines(typed)[0] for letter in line)
