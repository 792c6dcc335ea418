"""The first line of a watch that prints lines: what is watched, what is not, and by what."""

from __future__ import annotations

from usbwatch.compare.durations import lasted
from usbwatch.model import Condition
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.live_page import LivePage
from usbwatch.show.safe import safe
from usbwatch.show.watch_words import STATE_COLUMN, at_clock
from usbwatch.show.words import counted

__all__ = ["opening_line"]


def opening_line(watched: LivePage) -> Line:
    """The line in the columns of ``usbwatch.show.watch_words.event_line``."""
    blind = sum(one.condition is Condition.NOT_WATCHED for one in watched.standings)
    seen = len(watched.standings) - blind
    said = [f"{counted(seen, 'expected device')} watched, {blind} not, by profile {safe(watched.profile.id, 60)}"]
    said += [f"told by {', '.join(safe(one, 40) for one in watched.sources)}"] if watched.sources else []
    said += [f"sees absences from {lasted(watched.limit_ms)} on"] if watched.limit_ms else []
    return line(
        f"{at_clock(watched.began, 0)}  +0.000s  ",
        ("· watching".ljust(STATE_COLUMN), Style.PLAIN),
        "; ".join(said),
        hang=STATE_COLUMN,
    )
