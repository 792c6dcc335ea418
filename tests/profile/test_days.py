"""Days of the calendar."""

from __future__ import annotations

import pytest

from usbwatch.profile.days import days_between


@pytest.mark.parametrize(
    ("first", "second", "days"),
    [
        ("2024-02-28T10:00:00Z", "2024-03-01T09:00:00Z", 2),
        ("2025-02-28T10:00:00Z", "2025-03-01T09:00:00Z", 1),
        ("2026-03-06T15:40:00Z", "2026-03-06T23:59:59Z", 0),
        ("2026-03-06", "2025-03-06", -365),
        ("", "2026-03-06", None),
        ("2026-02-30T10:00:00Z", "2026-03-06", None),
        ("yesterday", "\x1b[2J", None),
    ],
)
def test_days_from_one_time_to_another(first: str, second: str, days: int | None) -> None:
    """The Gregorian calendar: 2024 is a leap year, 2025 is none."""
    assert days_between(first, second) == days
