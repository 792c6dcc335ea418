"""Strings from a unit never reach a terminal in a form that it would obey."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.show.safe import LONGEST, plain_ascii, safe

BIDI_CONTROLS = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
"""Unicode Standard Annex #9, section 2: all explicit directional formatting characters."""

CASES = {
    "plain": ("Larch Keyboard", "Larch Keyboard"),
    "empty": ("", ""),
    "accents stay": ("Clavier français № 5", "Clavier français № 5"),
    "other scripts stay": ("键盘 клавиатура", "键盘 клавиатура"),
    "one combining mark stays": ("cle\u0301", "cle\u0301"),
    "clear screen (ECMA-48 ED)": ("a\x1b[2Jb", r"a\x1b[2Jb"),
    "window title (OSC)": ("\x1b]0;owned\x07", r"\x1b]0;owned\x07"),
    "8-bit CSI (ECMA-48 table 2b)": ("\x9b31m", r"\x9b31m"),
    "line feed": ("a\nverdict: whole", r"a\x0averdict: whole"),
    "carriage return": ("a\rb", r"a\x0db"),
    "tab": ("a\tb", r"a\x09b"),
    "delete": ("a\x7fb", r"a\x7fb"),
    "nul": ("a\0b", r"a\x00b"),
    "right-to-left override": ("\u202egnp.exe", r"\u202egnp.exe"),
    "zero width space": ("key\u200bboard", r"key\u200bboard"),
    "byte order mark": ("\ufeffkey", r"\ufeffkey"),
    "line separator": ("a\u2028b", r"a\u2028b"),
    "lone surrogate": ("a\udc9bb", r"a\udc9bb"),
    "private use": ("\ue000", r"\ue000"),
    "tag character": ("\U000e0041", r"\U000e0041"),
    "Hangul filler shows nothing": ("\u3164", r"\u3164"),
    "variation selector shows nothing": ("a\ufe0f", r"a\ufe0f"),
    "a mark with nothing to stand on": ("\u0336abc", r"\u0336abc"),
    "a tower of marks": ("e" + "\u0301" * 4, "e\u0301\u0301" + r"\u0301\u0301"),
    "markup is only text": ("[red]x[/red] <b>", "[red]x[/red] <b>"),
}


@pytest.mark.parametrize(("text", "shown"), CASES.values(), ids=CASES.keys())
def test_a_string_is_shown_as(text: str, shown: str) -> None:
    assert safe(text) == shown


@pytest.mark.parametrize("control", BIDI_CONTROLS, ids=[f"{ord(one):04x}" for one in BIDI_CONTROLS])
def test_no_bidi_control_gets_through(control: str) -> None:
    assert safe(f"a{control}b") == f"a\\u{ord(control):04x}b"


def test_a_long_name_is_cut_and_says_so() -> None:
    assert safe("k" * 100_000) == "k" * (LONGEST - 1) + "…"
    assert safe("k" * LONGEST) == "k" * LONGEST


def test_no_escape_is_cut_in_two() -> None:
    assert safe("abc\x1b\x1b\x1b", 9) == r"abc\x1b…"


def test_ascii_has_a_stand_in_for_every_sign_of_ours() -> None:
    assert plain_ascii("✓ ✗ ≠ · ┄ ━ … “a”") == '+ X # - - = ... "a"'
    assert plain_ascii("→ MOVED") == "> MOVED"
    assert plain_ascii("clé 键") == r"cl\xe9 \u952e"


def test_what_became_of_a_value_is_no_comparison_in_ascii() -> None:
    assert plain_ascii("3% → 2.9%") == "3% -> 2.9%"


@pytest.mark.properties
@given(st.text(st.characters(exclude_categories=()), max_size=300), st.integers(min_value=1, max_value=80))
def test_whatever_comes_in_what_goes_out_is_short_and_printable(text: str, limit: int) -> None:
    shown = safe(text, limit)
    assert len(shown) <= limit
    assert {unicodedata.category(one) for one in shown}.isdisjoint({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


@pytest.mark.properties
@given(st.text(max_size=60))
def test_what_is_safe_stays_as_it_is(text: str) -> None:
    shown = safe(text, 1000)
    assert safe(shown, 1000) == shown


@pytest.mark.properties
@given(st.text(st.characters(exclude_categories=()), max_size=100))
def test_plain_ascii_is_ascii(text: str) -> None:
    assert plain_ascii(text).isascii()
