"""How long something lasted, in words and in few letters."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from usbwatch.compare.durations import lasted, lasted_short


@pytest.mark.parametrize(
    ("ms", "words", "short"),
    [
        (0, "0 ms", "0.0s"),
        (40, "40 ms", "0.0s"),
        (999, "999 ms", "1.0s"),
        (1_000, "1.0 s", "1.0s"),
        (3_240, "3.2 s", "3.2s"),
        (9_949, "9.9 s", "9.9s"),
        (9_950, "9 s", "9s"),
        (59_999, "59 s", "59s"),
        (60_000, "1 min", "1m00s"),
        (200_000, "3 min 20 s", "3m20s"),
        (3_599_999, "59 min 59 s", "59m59s"),
        (3_720_000, "1 h 2 min", "1h02m"),
        (360_000_000, "100 h", "100h"),
    ],
)
def test_a_duration(ms: int, words: str, short: str) -> None:
    assert (lasted(ms), lasted_short(ms)) == (words, short)


@pytest.mark.properties
@settings(deadline=None)
@given(ms=st.integers(0, 10**12))
def test_the_short_form_takes_few_columns(ms: int) -> None:
    assert len(lasted_short(ms)) <= 7
