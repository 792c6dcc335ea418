"""Each part and device of a layout failing alone, in its usual way: what then most likely comes out not well.

Read off the model that weighs real evidence: the paths
(``usbwatch.localise.paths``) and the tables of symptoms. What a unit need not
have is not counted on, for its absence is no finding; nor is what no capture
proves. Software and a hung device are left out: a capture tells them by signs
of their own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from usbwatch.compare.by_hand import by_hand_only
from usbwatch.localise.paths import Layout
from usbwatch.localise.sites import SiteKind, kind_of
from usbwatch.localise.symptoms import row
from usbwatch.localise.tried import MEASURE
from usbwatch.model.findings import Symptom
from usbwatch.model.ladder import Rung
from usbwatch.model.profile import ExpectedDevice, PartKind

__all__ = ["Failing", "counted_on", "failing"]

_MOSTLY = 0.5
"""Below this chance of coming out well, a device or hand check most likely does not."""

_USUAL = {SiteKind.OPEN, SiteKind.SECTION, SiteKind.RAIL, SiteKind.WHOLE, SiteKind.DEAD, SiteKind.POOR}
"""How each thing usually fails: a link is open. The other ways of a link lie at the same place on every path."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failing:
    """One part or device, failing by itself."""

    of: str
    """Id of the part or device."""
    piece: str
    """Id of the subassembly or link that is replaced for it."""
    works_badly: bool = False
    """It answers, and does its work badly: what only hand checks are about."""
    shows: frozenset[str] = frozenset()
    """Devices that a capture then most likely finds lost, of those that can be counted on."""
    perhaps: frozenset[str] = frozenset()
    """Devices that are then lost as well, and that not every unit has."""
    told_by: frozenset[str] = frozenset()
    """Hand checks that most likely end in "no", and ``measure:ID`` where a meter shows it."""

    @property
    def has_check(self) -> bool:
        """Whether a hand check of the profile tells it, and not a meter alone."""
        return any(not each.startswith(MEASURE) for each in self.told_by)


def counted_on(device: ExpectedDevice) -> bool:
    """Whether a capture of any unit shows whether this device is there."""
    always = not device.optional and not device.firmware_names and device.reaches is not Rung.ABSENT
    return always and not by_hand_only(device)


def failing(layout: Layout) -> tuple[Failing, ...]:
    """Every part and device, failing; one that fails in two ways which show the same, once."""
    shows, perhaps, told_by = _patterns(layout)
    links = {part.id for part in layout.profile.parts if part.kind is PartKind.LINK}
    found: dict[tuple[object, ...], Failing] = {}
    for number, site in enumerate(layout.sites):
        kind, of = kind_of(site)
        if kind in _USUAL:
            one = Failing(
                of=of,
                piece=site.part,
                works_badly=kind is SiteKind.POOR,
                shows=frozenset(shows[number]),
                perhaps=frozenset(perhaps[number]),
                told_by=frozenset((*told_by[number], *_meters(kind, of, site.part, links))),
            )
            found.setdefault((of, one.shows, one.told_by), one)
    return tuple(found.values())


_Pattern = defaultdict[int, list[str]]


def _patterns(layout: Layout) -> tuple[_Pattern, _Pattern, _Pattern]:
    """By site: devices counted on that it spoils, other devices that it spoils, and hand checks that it turns."""
    shows: _Pattern = defaultdict(list)
    perhaps: _Pattern = defaultdict(list)
    told_by: _Pattern = defaultdict(list)
    for device in layout.profile.devices:
        into = shows if counted_on(device) else perhaps
        if not by_hand_only(device):
            _spoiled(layout, device.id, device.function, into)
    for check in layout.profile.checks:
        _spoiled(layout, check.id, "", told_by)
    return shows, perhaps, told_by


def _spoiled(layout: Layout, id_: str, function: str, into: _Pattern) -> None:
    for step in layout.paths[id_]:
        if row(step.effect, function)[Symptom.WORKING] < _MOSTLY:
            into[step.site].append(id_)


def _meters(kind: SiteKind, of: str, piece: str, links: Collection[str]) -> tuple[str, ...]:
    """Where a meter shows it: a rail at its voltage, and the lines of a link that are a section of their own."""
    if kind is SiteKind.RAIL:
        return (f"{MEASURE}{of}",)
    return (f"{MEASURE}{piece}",) if kind is SiteKind.SECTION and piece in links else ()
