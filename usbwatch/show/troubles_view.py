"""Troubles of the kernel's log that nothing else on the page speaks of."""

from __future__ import annotations

from usbwatch.model import Episode, Verdict, hangs_on
from usbwatch.show.checked import Checked
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading
from usbwatch.show.words import counted, trouble_words

__all__ = ["trouble_lines"]

_MOST = 5
_LONGEST = 200


def trouble_lines(checked: Checked) -> list[Line]:
    """A row for each trouble with its last line; nothing where the findings speak of all of them."""
    untold = _untold(checked)
    if not untold:
        return []
    more = [line("  ", f"and {len(untold) - _MOST} more", hang=4)] if len(untold) > _MOST else []
    return [
        *heading("In the kernel's log, beside what is found wrong"),
        *(one for episode in untold[:_MOST] for one in _row(episode)),
        *more,
    ]


def _untold(checked: Checked) -> list[Episode]:
    """What belongs neither to a finding with its reasons on the page, nor to a loss that is named.

    Of a device that is present the page gives no reasons, so its troubles (it comes and goes) are named here.
    """
    whole: set[str] = set()
    carriers = {one.location for one in checked.findings.losses}
    judged = {finding.device: finding for finding in checked.findings.findings}
    for device in checked.profile.devices:
        if device.id in judged and judged[device.id].verdict is not Verdict.PRESENT:
            node = judged[device.id].node
            places = {*device.locations, *([node.location] if node is not None else [])}
            (carriers if device.function in _CARRIERS else whole).update(places)
    return [one for one in checked.capture.episodes if not (one.location and _told(one.location, whole, carriers))]


_CARRIERS = frozenset({"hub", "usb-controller", "graphics"})
"""What hangs on these is not a part of them."""


def _told(location: str, whole: set[str], carriers: set[str]) -> bool:
    return location in whole | carriers or any(hangs_on(location, place) for place in whole)


def _row(episode: Episode) -> list[Line]:
    lines = [line("  ", trouble_words(episode), f" ({counted(episode.count, 'line')})", hang=4)]
    return [*lines, *(line("    ", (safe(last, _LONGEST), Style.FAINT), hang=4) for last in episode.lines[-1:])]
