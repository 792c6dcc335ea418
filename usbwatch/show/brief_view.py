"""What stands below the pages of several captures that were checked in one run: which of them need a look, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from usbwatch.show.checked import Checked
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.suspects_view import likeliest
from usbwatch.show.ticket import MARGIN, heading, mark
from usbwatch.show.verdict import Outcome, outcome, sentence
from usbwatch.show.words import counted, listed

__all__ = ["MOST_NAMED", "Brief", "brief_of", "in_all_view"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Brief:
    """One capture in a few words."""

    path: str
    outcome: Outcome | None
    """None where it could not be checked."""
    said: tuple[str, ...] = ()
    """The verdict, and the likeliest cause where something is wrong."""


def brief_of(path: str, checked: Checked) -> Brief:
    """A checked capture in a few words."""
    said = (sentence(checked.findings), likeliest(checked))
    return Brief(path=path, outcome=outcome(checked.findings), said=tuple(one for one in said if one))


_ORDER = (Outcome.WRONG, Outcome.NOT_ALL_SEEN, None, Outcome.WHOLE)
_MARKS = {
    Outcome.WRONG: ("✗", "WRONG", Style.WRONG),
    Outcome.NOT_ALL_SEEN: ("?", "unseen", Style.UNSEEN),
    None: ("!", "unchecked", Style.CAUTION),
    Outcome.WHOLE: ("✓", "whole", Style.FINE),
}
_COUNTED = {
    Outcome.WRONG: "wrong",
    Outcome.NOT_ALL_SEEN: "not all seen",
    None: "that could not be checked",
    Outcome.WHOLE: "whole",
}
MOST_NAMED = 20
"""Captures of each sort that are named, however many there are."""


def in_all_view(counts: Mapping[Outcome | None, int], named: Sequence[Brief]) -> list[Line]:
    """The captures by what they came to, what is wrong first; ``named`` are the first of each sort."""
    sorts = [one for one in _ORDER if counts.get(one)]
    told = listed([f"{counts[one]} {_COUNTED[one]}" for one in sorts])
    return [
        BLANK,
        *heading(f"In all: {counted(sum(counts.values()), 'capture')}"),
        line(f"  {told}", hang=2),
        *(one for each in sorts for one in _sort_lines([it for it in named if it.outcome is each], counts[each])),
    ]


def _sort_lines(named: Sequence[Brief], count: int) -> list[Line]:
    lines = [one for brief in named for one in _lines(brief)]
    more = count - len(named)
    return [BLANK, *lines, *([line(" " * MARGIN, f"and {more} more", hang=MARGIN)] if more else [])]


def _lines(brief: Brief) -> list[Line]:
    said = brief.said if brief.outcome is not Outcome.WHOLE else ()
    return [
        line(mark(*_MARKS[brief.outcome]), (safe(brief.path), Style.STRONG if said else Style.PLAIN), hang=MARGIN),
        *(line(" " * MARGIN, one, hang=MARGIN) for one in said),
    ]
