"""A moment that a person marked, as one line beside those of incidents."""

from __future__ import annotations

from datetime import datetime

from usbwatch.model import Mark
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.watch_words import STATE_COLUMN, at_clock

__all__ = ["mark_line"]


def mark_line(mark: Mark, number: int, began: datetime) -> Line:
    """The mark in the columns of ``usbwatch.show.watch_words.event_line``; ``number`` counts from 1."""
    return line(
        f"{at_clock(began, mark.at_ms)}  +{mark.at_ms / 1000:.3f}s  ",
        (f"→ mark {number}".ljust(STATE_COLUMN), Style.CAUTION),
        safe(mark.text, 400),
        hang=STATE_COLUMN,
    )
