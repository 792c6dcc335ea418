"""What a live watch shows across the bench: a word or two, and a sentence under it."""

from __future__ import annotations

from collections.abc import Callable

from usbwatch.compare.moments import times_left
from usbwatch.model import Condition, Standing
from usbwatch.show.block_letters import can_write, columns, written
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.live_page import LivePage
from usbwatch.show.watch_rows import missing_since_before
from usbwatch.show.watch_words import names_of

__all__ = ["big_words", "under_it", "verdict_rows"]

_SCALES = ((4, 2), (3, 2), (2, 1), (1, 1))
"""Columns and rows of one block, the biggest first."""
_TALL = 36
"""From this height on there is room for blocks of two rows."""

_Is = Callable[[Standing], bool]
_KINDS: tuple[tuple[str, _Is], ...] = (
    ("GONE", lambda one: one.condition is Condition.GONE and not missing_since_before(one)),
    ("MISSING", missing_since_before),
    ("FAILED", lambda one: one.condition is Condition.FAILED),
    ("OVER-CURRENT", lambda one: one.condition is Condition.OVER_CURRENT),
    ("MUTE", lambda one: one.condition is Condition.MUTE),
    ("NO DRIVER", lambda one: one.condition is Condition.UNDRIVEN),
    ("SLOW", lambda one: one.condition is Condition.SLOW),
)
"""The word for each way not to be well, the most pressing first: the biggest letters are for the first that holds."""


def verdict_rows(watched: LivePage, width: int, height: int) -> list[Line]:
    """The verdict in letters as big as the page allows; plain where it is too narrow for any."""
    words, style = big_words(watched)
    for text in words:
        for scale, rows in _SCALES:
            if can_write(text) and columns(text, scale) <= width and (rows == 1 or height >= _TALL):
                return [line((row, style)) for row in written(text, "█", scale, rows)]
    return [line((words[-1], style))]


def big_words(watched: LivePage) -> tuple[tuple[str, ...], Style]:
    """The verdict, the fullest wording first, and its style."""
    for word, holds in _KINDS:
        mine = [one for one in watched.standings if holds(one)]
        if len(mine) == 1:
            name = names_of((mine[0].device,), watched.profile)
            return (f"{name.upper()} {word}", f"1 {word}"), Style.WRONG
        if mine:
            return (f"{len(mine)} {word}",), Style.WRONG
    if all(one.condition is Condition.NOT_WATCHED for one in watched.standings):
        return ("NOT SEEN",), Style.UNSEEN
    times = times_left(watched.incidents)
    if times:
        # Now it is all here, and it was not: what came and went is what is looked for.
        gone = f"HERE - {times}X GONE"
        return (f"ALL {gone}", gone, f"BACK {times}X", "ALL HERE"), Style.CAUTION
    return ("ALL HERE",), Style.FINE


def _who_left(watched: LivePage) -> str:
    """Who left how often, the most often first: "left: Keyboard and Touchpad 3x each; Camera 1x"."""
    by_count: dict[int, list[str]] = {}
    for one in watched.standings:
        if one.times_gone and one.condition is Condition.PRESENT:
            by_count.setdefault(one.times_gone, []).append(one.device)
    said = [
        f"{names_of(ids, watched.profile)} {count}x{' each' if len(ids) > 1 else ''}"
        for count, ids in sorted(by_count.items(), reverse=True)
    ]
    return f"had left: {'; '.join(said)}" if said else ""


def under_it(watched: LivePage) -> Line:
    """Who is meant, how many are there, and who is not watched: the big words are about what is watched alone."""
    here = sum(one.condition is Condition.PRESENT for one in watched.standings)
    unwatched = sum(one.condition is Condition.NOT_WATCHED for one in watched.standings)
    wrong = [
        f"{word.lower()}: {names_of([one.device for one in watched.standings if holds(one)], watched.profile)}"
        for word, holds in _KINDS
        if any(holds(one) for one in watched.standings)
    ]
    if unwatched == len(watched.standings):
        return line((f"nothing of it can be watched, {unwatched} not watched", Style.STRONG))
    counts = f"{here} here" if wrong else f"all {here} that are watched are here"
    counts += f", {unwatched} not watched" if unwatched else ""
    left = "" if wrong else _who_left(watched)
    return line(("; ".join([counts, *wrong, *([left] if left else [])]), Style.STRONG))
