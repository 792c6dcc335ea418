"""One stroke for what went, two for what came back, and no alarm without end."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from usbwatch.cli.bell import GAP_MS, PAUSE_MS, Bell, heard, next_stroke_ms, struck


def strokes(happened: list[tuple[int, bool]], until_ms: int = 100_000) -> list[int]:
    """When the bell is struck, by a loop that wakes when something happens and when the bell says so."""
    bell, found, waiting = Bell(), list[int](), sorted(happened, key=lambda one: one[0])
    now_ms = 0
    while now_ms <= until_ms:
        due_ms = next_stroke_ms(bell)
        moments = [one for one in (due_ms, waiting[0][0] if waiting else None) if one is not None]
        if not moments:
            break
        now_ms = max(min(moments), now_ms)
        while waiting and waiting[0][0] <= now_ms:
            bell = heard(bell, gone=waiting.pop(0)[1], now_ms=now_ms)
        bell, now = struck(bell, now_ms)
        found += [now_ms] if now else []
    return found


def test_what_went_is_one_stroke_and_what_came_back_is_two() -> None:
    assert strokes([(5_000, True)]) == [5_000]
    assert strokes([(5_000, False)]) == [5_000, 5_000 + GAP_MS]


def test_a_departure_in_the_same_moment_as_a_return_is_what_is_rung() -> None:
    assert strokes([(5_000, False), (5_000, True)]) == [5_000]


def test_a_contact_that_chatters_for_a_minute_rings_no_faster_than_an_ear_can_use() -> None:
    found = strokes([(at, at % 200 == 0) for at in range(0, 60_000, 100)])
    assert 20 < len(found) <= 2 * (60_000 // PAUSE_MS + 1)


@pytest.mark.properties
@settings(deadline=None)
@given(happened=st.lists(st.tuples(st.integers(0, 20_000), st.booleans()), max_size=60))
def test_strokes_never_run_together(happened: list[tuple[int, bool]]) -> None:
    """Two strokes are either of one pattern, a gap apart, or of two, a pause apart."""
    found = strokes(happened)
    assert all(later - earlier == GAP_MS or later - earlier >= PAUSE_MS for earlier, later in pairwise(found))
    assert bool(found) is bool(happened)
