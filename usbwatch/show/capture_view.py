"""What ``usbwatch capture`` says when it is done: what was captured, and how much of the unit could be seen."""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.compare.declared import declarations
from usbwatch.model import Capture, Coverage, CoverageState, Episode
from usbwatch.show.declared_view import declared_in_short
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.words import counted, listed, trouble_words, unit_name

__all__ = ["capture_view"]

_STATES = {
    CoverageState.OK: ("✓", Style.FINE),
    CoverageState.EMPTY: ("✓", Style.FINE),
    CoverageState.NOT_PERMITTED: ("?", Style.UNSEEN),
    CoverageState.NOT_THERE: ("·", Style.FAINT),
    CoverageState.FAILED: ("?", Style.UNSEEN),
}

_STATE_COLUMN = 17
_BUS_COLUMN = 14
_NO_BUS = ("dmi", "log")


def capture_view(capture: Capture, path: str) -> list[Line]:
    """A short summary: unit, file, and one line per bus with its state, its nodes and why it was not seen."""
    virtual = capture.system.virtual
    return [
        line("captured ", (unit_name(capture.unit), Style.STRONG), " into ", (safe(path), Style.STRONG), hang=2),
        line((_totals(capture), Style.FAINT), hang=2),
        BLANK,
        *(_bus_line(one) for one in capture.coverage),
        *_declared(capture),
        *([BLANK, line(("Note: ", Style.CAUTION), _virtual_note(virtual), hang=6)] if virtual else []),
    ]


def _declared(capture: Capture) -> list[Line]:
    """What firmware names and the kernel found, below the buses."""
    told = declared_in_short(declarations(capture))
    return [BLANK, *told] if told else []


def _totals(capture: Capture) -> str:
    buses = sum(one.state is CoverageState.OK for one in capture.coverage if one.bus not in _NO_BUS)
    return f"{counted(len(capture.nodes), 'node')} on {counted(buses, 'bus')}; {_log_told(capture)}"


def _log_told(capture: Capture) -> str:
    """What the kernel's log tells; of a log that was not seen nothing is said but that."""
    if capture.episodes:
        return f"{counted(len(capture.episodes), 'trouble')} in the kernel log: {listed(_troubles(capture.episodes))}"
    seen = any(one.bus == "log" and one.state.seen for one in capture.coverage)
    return "no trouble in the kernel log" if seen else "kernel log not seen"


_TROUBLES_NAMED = 3


def _troubles(episodes: Sequence[Episode]) -> list[str]:
    """The first few troubles, each with its place, and how many there are beside them."""
    more = len(episodes) - _TROUBLES_NAMED
    return [*map(trouble_words, episodes[:_TROUBLES_NAMED]), *([f"{more} more"] if more > 0 else [])]


def _bus_line(one: Coverage) -> Line:
    sign, style = _STATES[one.state]
    nodes = counted(one.nodes, "line" if one.bus == "log" else "node") if one.state is CoverageState.OK else ""
    reasons = [safe(one.why)] if one.why else []
    reasons += ["capturing as root would show it"] if one.root_would_help else []
    reasons += [f"{counted(one.unread, 'file')} not read"] if one.unread else []
    rest = "; ".join([*([nodes] if nodes else []), *reasons])
    state = (f"{sign} {one.state.value}".ljust(_STATE_COLUMN), style)
    return line(state, safe(one.bus, 20).ljust(_BUS_COLUMN), rest, hang=_STATE_COLUMN + _BUS_COLUMN)


def _virtual_note(sign: str) -> str:
    return f"this looks like a virtual machine ({safe(sign, 60)}); a virtual machine sees none of the unit's own parts."
