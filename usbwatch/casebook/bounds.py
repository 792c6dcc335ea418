"""What a fact can tell at most: beyond it, it is a slip of the pen or made to do harm.

Every new entry and every entry of an archive is held to this. What an older
book has beyond it stays to be read, and counts as not told.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime, timedelta

from usbwatch.model.history import Amended, Closed, Noted, Opened, Recorded, Reopened, StepDone

__all__ = [
    "LONGEST_MODEL",
    "LONGEST_SITE",
    "MOST_MINUTES",
    "MOST_MONEY",
    "a_day_after",
    "beyond",
    "is_model",
    "minutes",
    "money",
]

MOST_MONEY = 10**9
"""Whole units of the shop's currency: of one price or cost."""
MOST_MINUTES = 100_000
"""Bench time of one entry: ten weeks, day and night."""
LONGEST_MODEL = 60
"""Characters of a profile's id."""
LONGEST_SITE = 200
"""Characters of a site's id, and of its class; each is two or three ids of a profile."""

_MODEL = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*\Z")
"""As in ``usbwatch.profile.shape``, which takes a while to import."""
_LAST_MOMENT = "9999-12-31T23:59:59Z"


def is_model(text: str) -> bool:
    """Whether a text has the form of a profile's id, so that it names no file.

    >>> is_model("fernhill-larch-13"), is_model("../secrets.toml"), is_model("")
    (True, False, False)
    """
    return len(text) <= LONGEST_MODEL and _MODEL.match(text) is not None


def money(value: int | None) -> int | None:
    """The sum, or None for one that is beyond any."""
    return value if value is not None and 0 <= value <= MOST_MONEY else None


def minutes(value: int | None) -> int | None:
    """The bench time, or None for one that is beyond any."""
    return value if value is not None and 0 <= value <= MOST_MINUTES else None


def a_day_after(moment: str) -> str:
    """So far the clocks of two benches may differ, by the whole of a time zone.

    >>> a_day_after("2026-02-28T09:00:00Z")
    '2026-03-01T09:00:00Z'
    """
    try:
        later = datetime.fromisoformat(moment) + timedelta(days=1)
    except OverflowError:
        return _LAST_MOMENT
    return later.isoformat(timespec="seconds").replace("+00:00", "Z")


def beyond(fact: Recorded) -> str:
    """What a fact tells that no bench does, as the end of a sentence; "" for nothing."""
    if isinstance(fact, Amended):
        return beyond(fact.instead) if fact.instead is not None else ""
    return next(_beyond(fact), "")


def _beyond(fact: Recorded) -> Iterator[str]:
    if any(value is not None and money(value) is None for value in _sums(fact)):
        yield f"tells of a sum that is not from 0 to {MOST_MONEY:,}"
    if isinstance(fact, (StepDone, Noted)) and fact.minutes is not None and minutes(fact.minutes) is None:
        yield f"tells of minutes that are not from 0 to {MOST_MINUTES:,}"
    if isinstance(fact, Closed):
        if fact.model and not is_model(fact.model):
            yield "names a model by what is no id of a profile"
        if any(len(text) > LONGEST_SITE for each in fact.causes for text in (each.site, each.site_class)):
            yield f"names a cause by more than {LONGEST_SITE} characters"


def _sums(fact: Recorded) -> tuple[int | None, ...]:
    if isinstance(fact, (Opened, Reopened)):
        return (fact.intake.paid,)
    if isinstance(fact, (StepDone, Noted)):
        return (fact.cost,)
    return (fact.brought,) if isinstance(fact, Closed) else ()
