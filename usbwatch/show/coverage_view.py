"""What a capture could see, and what it could not: per bus, with the reason and what would help."""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.model import Coverage, CoverageState
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.ticket import MARGIN, heading, labelled
from usbwatch.show.words import counted, listed

__all__ = ["coverage_lines"]

_UNSEEN_SIGN = "?"
_NO_BUS = ("dmi", "log")
"""Not buses: without the one the model is not known, without the other no failed enumeration."""


def coverage_lines(coverage: Sequence[Coverage]) -> list[Line]:
    """The section on coverage: what was not seen first, then in one line each what was."""
    blind = [one for one in coverage if not one.state.seen]
    told = [one for one in blind if one.state is not CoverageState.NOT_THERE or one.bus in _NO_BUS]
    absent = [safe(one.bus, 20) for one in blind if one not in told]
    seen = [f"{safe(one.bus, 20)} {one.nodes}" for one in coverage if one.state is CoverageState.OK]
    empty = [safe(one.bus, 20) for one in coverage if one.state is CoverageState.EMPTY]
    return [
        *heading("What this capture saw, and what it could not" if blind else "What this capture saw"),
        *(_blind_line(one) for one in told),
        *labelled("not there", absent, 2, column=MARGIN - 2),
        *labelled("seen, empty", empty, 2, column=MARGIN - 2),
        *labelled("seen", seen, 2, column=MARGIN - 2),
        *_unread(coverage),
    ]


def _blind_line(one: Coverage) -> Line:
    state = f"{one.state.value}: {safe(one.why)}" if one.why else one.state.value
    remedy = "; capturing as root would show it" if one.root_would_help else ""
    return line((f"{_UNSEEN_SIGN} {safe(one.bus, 20)} ".ljust(MARGIN), Style.UNSEEN), f"{state}{remedy}", hang=MARGIN)


def _unread(coverage: Sequence[Coverage]) -> list[Line]:
    partly = [f"{counted(one.unread, 'file')} of {safe(one.bus, 20)}" for one in coverage if one.unread]
    if not partly:
        return []
    return [line("  ", (f"not read: {listed(partly)}", Style.FAINT), hang=4)]
