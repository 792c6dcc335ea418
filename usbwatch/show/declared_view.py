"""What firmware says the unit has and the kernel did not find: on the check's page, and in short elsewhere.

Only what no finding of the page speaks of already is named; the JSON document has all of it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from usbwatch.compare.declared import is_empty_port
from usbwatch.model import Declaration, DeclaredState
from usbwatch.show.checked import Checked
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.ticket import MARGIN, heading, mark
from usbwatch.show.words import counted, listed

__all__ = ["declared_in_short", "declared_lines", "declared_stamp"]

_OPEN = {
    DeclaredState.NOT_FOUND: ("!", "not found", Style.CAUTION),
    DeclaredState.NOT_SEEN: ("?", "not seen", Style.UNSEEN),
    DeclaredState.OFF: ("·", "off", Style.FAINT),
}
"""What is named on the page, the most telling first; the sign of a fault is not for firmware's word."""

_MOST = 12
"""Rows at most; a firmware that names more that is not there was made for another board."""

_MOST_NAMED = 3
_WORDS = 80
"""Characters of one foreign phrase."""


def declared_lines(checked: Checked) -> list[Line]:
    """The section on firmware's word; nothing when the findings speak of all of it."""
    still = _untold(checked)
    if not still:
        return []
    more = [line("  ", f"and {len(still) - _MOST} more", hang=4)] if len(still) > _MOST else []
    return [
        *heading("What firmware says"),
        line("  ", (f"Firmware {_counts(checked.findings.declared)}. {_TRUST}", Style.FAINT), hang=2),
        *(one for declaration in still[:_MOST] for one in _row(declaration)),
        *more,
    ]


_TRUST = "Evidence, not proof: firmware also names parts that this unit was never given."


def declared_stamp(checked: Checked) -> str:
    """For a unit that no profile fits, the sentence beside the verdict: firmware's word is the best evidence then."""
    told = {one.location for one in checked.findings.losses}
    missing = [one for one in _untold(checked) if one.state is DeclaredState.NOT_FOUND and one.where not in told]
    if not checked.profile.generic or not missing:
        return ""
    return f"Firmware names more that was not found: {_names(missing)}"


def declared_in_short(declared: Sequence[Declaration]) -> list[Line]:
    """A line or two for a page that judges nothing; none where firmware says nothing."""
    if not declared:
        return []
    lines = [line(f"firmware {_counts(declared)}", hang=2)]
    for state, (_, word, style) in _OPEN.items():
        names = [one for one in declared if one.state is state]
        if names:
            lines.append(line("  ", (f"{word}: ", style), _names(names), hang=4))
    return lines


def _untold(checked: Checked) -> list[Declaration]:
    """What is open, and what no finding speaks of: neither its place nor a part that does the same."""
    judged = {finding.device: finding for finding in checked.findings.findings}
    devices = [device for device in checked.profile.devices if device.id in judged]
    places = {place for device in checked.profile.devices for place in device.locations}
    places |= {finding.node.location for finding in judged.values() if finding.node is not None}
    functions = {device.function for device in devices} - {""}
    untold = [one for one in checked.findings.declared if one.where not in places and one.function not in functions]
    order = list(_OPEN)
    return sorted((one for one in untold if one.state in _OPEN), key=lambda one: order.index(one.state))


def _row(one: Declaration) -> list[Line]:
    return [
        line(mark(*_OPEN[one.state]), (safe(one.what, _WORDS), Style.STRONG), hang=MARGIN),
        line(" " * MARGIN, safe(one.because), hang=MARGIN),
        line(" " * MARGIN, (f"{safe(one.where, 120)}: {safe(one.said_by)}", Style.FAINT), hang=MARGIN),
    ]


def _counts(declared: Sequence[Declaration]) -> str:
    """``names 16 internal parts; the kernel found 12 and takes 4 on its word``."""
    counts = Counter(one.state for one in declared)
    found = f"the kernel found {counts[DeclaredState.FOUND]}"
    trusted = counts[DeclaredState.UNPROVEN]
    also = f" and takes {trusted} on its word" if trusted else ""
    return f"names {counted(len(declared), 'internal part')}; {found}{also}"


def _names(declared: Sequence[Declaration]) -> str:
    """The ports as one phrase, the rest by their names, the first few of them."""
    ports = [safe(one.where.rpartition("/")[2], 20) for one in declared if is_empty_port(one)]
    names = [safe(one.what, _WORDS) for one in declared if not is_empty_port(one)]
    if ports:
        wired = "parts wired to USB ports" if len(ports) > 1 else "part wired to USB port"
        names.insert(0, f"{wired} {listed(_few(ports))}")
    return listed(_few(names))


def _few(names: list[str]) -> list[str]:
    left = len(names) - _MOST_NAMED
    return [*names[:_MOST_NAMED], f"{left} more"] if left > 1 else names
