"""A moment that a person marked: as one line beside those of incidents, and with what went around it."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from datetime import datetime

from usbwatch.compare.durations import MARK_NEAR_MS
from usbwatch.compare.grouping import LONGEST_MS, TEARDOWN_MS
from usbwatch.compare.watched_devices import near_mark
from usbwatch.model import Change, Incident, Mark, Profile
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.watch_words import STATE_COLUMN, at_clock, names_of

__all__ = ["around_mark", "mark_line"]

_TOLD = {
    Change.GONE: "left",
    Change.MUTE: "stopped talking",
    Change.SLOWER: "fell back",
    Change.FAILED: "failed to enumerate",
}


def around_mark(mark: Mark, incidents: Sequence[Incident], profile: Profile) -> str:
    """Which expected devices left, or fared otherwise badly, shortly before the mark or after it.

    ``incidents`` are in the order of time. A summary and a check say the same, for both ask here.
    """
    reach = MARK_NEAR_MS + LONGEST_MS + TEARDOWN_MS
    first = bisect_left(incidents, mark.at_ms - reach, key=lambda one: one.at_ms)
    last = bisect_right(incidents, mark.at_ms + MARK_NEAR_MS, key=lambda one: one.at_ms)
    by_change: dict[Change, dict[str, None]] = {}
    for one in incidents[first:last]:
        if one.change in _TOLD and any(near_mark(event.at_ms, mark.at_ms) for event in one.events):
            by_change.setdefault(one.change, {}).update(dict.fromkeys(one.devices))
    said = [f"{names_of(tuple(ids), profile)} {_TOLD[change]}" for change, ids in by_change.items() if ids]
    return f"{'; '.join(said)} within {MARK_NEAR_MS // 1000} s" if said else "nothing left"


def mark_line(mark: Mark, number: int, began: datetime) -> Line:
    """The mark in the columns of ``usbwatch.show.watch_words.event_line``; ``number`` counts from 1."""
    return line(
        f"{at_clock(began, mark.at_ms)}  +{mark.at_ms / 1000:.3f}s  ",
        (f"→ mark {number}".ljust(STATE_COLUMN), Style.CAUTION),
        safe(mark.text, 400),
        hang=STATE_COLUMN,
    )
