"""Days of the calendar, written as ISO 8601 has them (``2026-03-14``)."""

from __future__ import annotations

import datetime as dt
import re

__all__ = ["day_of", "days_between", "is_day"]

_SHAPE = re.compile(r"(?:19|20)\d\d-\d\d-\d\d", re.ASCII)
"""A clock that tells another century tells no day."""


def is_day(text: str) -> bool:
    """Whether the calendar has the day; ``text`` has the shape of one.

    >>> is_day("2026-02-30")
    False
    """
    try:
        dt.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def day_of(moment: str) -> str:
    """The day that a time of RFC 3339 begins with; "" where it begins with none.

    >>> day_of("2026-12-31T09:14:00Z")
    '2026-12-31'
    """
    found = _SHAPE.match(moment)
    return found.group() if found and is_day(found.group()) else ""


def days_between(first: str, second: str) -> int | None:
    """Days from one time of RFC 3339 to another, negative when it lies before; None where one tells no day.

    >>> days_between("2026-02-27T23:00:00Z", "2026-03-01T01:00:00Z")
    2
    """
    days = [day_of(moment) for moment in (first, second)]
    if not all(days):
        return None
    start, end = (dt.date.fromisoformat(day) for day in days)
    return (end - start).days
