"""What a profile can tell apart: which failing parts a capture shows, and which of them look alike in it.

Everything is read off the model that weighs real evidence: the paths
(``usbwatch.localise.paths``) and the tables of symptoms. Each part and device
is taken to fail alone, in its usual way, and each device and hand check to
come out as it then most likely does. Two failures look alike where all
devices that can be counted on come out the same. In diagnosis this is a
comparison of fault signatures: two faults are discriminable when theirs
differ (L. Travé-Massuyès, T. Escobet and X. Olive, "Diagnosability Analysis
Based on Component-Supported Analytical Redundancy Relations", IEEE
Transactions on Systems, Man and Cybernetics A 36, 2006; from memory).

What a unit need not have is not counted on, for its absence is no finding;
nor is what no capture proves. Software and a hung device are left out: a
capture tells them by signs of their own.
"""

from __future__ import annotations

import heapq
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from usbwatch.compare.by_hand import by_hand_only
from usbwatch.localise.observations import MEASURE, observed
from usbwatch.localise.paths import Layout
from usbwatch.localise.sites import UNKNOWN_PART, SiteKind, kind_of
from usbwatch.localise.symptoms import row
from usbwatch.model.findings import Symptom
from usbwatch.model.ladder import Rung
from usbwatch.model.profile import ExpectedDevice, PartKind

__all__ = ["Alike", "Discerned", "Failing", "counted_on", "discern", "unexplained"]

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """Failures with which a capture loses the same devices."""

    lost: tuple[str, ...]
    """Ids of these devices, in the profile's order; none where no capture shows anything."""
    failing: tuple[Failing, ...]
    """In the profile's order."""
    split_by: tuple[str, ...] = ()
    """The fewest hand checks and measurements found that tell apart by piece all that any of them can.

    None where no capture shows anything: then each failure has its own (``Failing.told_by``).
    """
    left: tuple[tuple[Failing, ...], ...] = ()
    """What looks alike after all of them as well, where it is not one piece."""

    @property
    def pieces(self) -> tuple[str, ...]:
        """Ids of what would be replaced, each once."""
        return tuple(dict.fromkeys(each.piece for each in self.failing))


@dataclass(frozen=True, slots=True, kw_only=True)
class Discerned:
    """What a capture of this variant of a model, and the hand checks of its profile, can tell."""

    groups: tuple[Alike, ...]
    """Every failure that something shows, in one group; what loses most devices first."""
    perhaps: tuple[Failing, ...]
    """What only devices show that not every unit has."""
    unobserved: tuple[Failing, ...]
    """What nothing shows: no device, not even one that some units have, and no hand check."""
    unproven: tuple[str, ...]
    """Devices that no capture proves, and no hand check asks about."""
    unexplained: tuple[str, ...]
    """Devices whose loss is better explained by what the profile does not know (``unexplained``)."""

    @property
    def by_capture(self) -> tuple[Alike, ...]:
        """Groups in which everything is mended by one piece."""
        return tuple(group for group in self.groups if group.lost and len(group.pieces) == 1)

    @property
    def by_hand(self) -> tuple[Alike, ...]:
        """Groups that take a hand check, with what it cannot tell in ``left``."""
        return tuple(group for group in self.groups if group.lost and len(group.pieces) > 1)

    @property
    def unseen(self) -> Alike | None:
        """What no capture shows, and a hand check does."""
        return next((group for group in self.groups if not group.lost), None)


def counted_on(device: ExpectedDevice) -> bool:
    """Whether a capture of any unit shows whether this device is there."""
    always = not device.optional and not device.firmware_names and device.reaches is not Rung.ABSENT
    return always and not by_hand_only(device)


def discern(layout: Layout) -> Discerned:
    """What can be told apart in units of this layout."""
    failing = _failing(layout)
    groups: dict[frozenset[str], list[Failing]] = defaultdict(list)
    for each in failing:
        if each.shows or _checks(each):
            groups[each.shows].append(each)
    order = {device.id: number for number, device in enumerate(layout.profile.devices)}
    minutes = {check.id: check.minutes for check in layout.profile.checks}
    alike = [_alike(tuple(sorted(lost, key=order.__getitem__)), group, minutes) for lost, group in groups.items()]
    return Discerned(
        groups=tuple(sorted(alike, key=lambda group: -len(group.lost))),
        perhaps=tuple(each for each in failing if each.perhaps and not (each.shows or _checks(each))),
        unobserved=tuple(each for each in failing if not (each.shows or each.perhaps or _checks(each))),
        unproven=tuple(_unproven(layout)),
        unexplained=unexplained(layout),
    )


def _checks(failing: Failing) -> bool:
    return any(not each.startswith(MEASURE) for each in failing.told_by)


def _failing(layout: Layout) -> tuple[Failing, ...]:
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


_METER_MINUTES = 10_000
"""A measurement that no hand check of the profile describes comes after all that one does."""


def _alike(lost: tuple[str, ...], failing: Sequence[Failing], minutes: dict[str, int]) -> Alike:
    told = Alike(lost=lost, failing=tuple(failing))
    if len(told.pieces) == 1:
        return told
    tellers = {teller for each in failing for teller in each.told_by}
    ranked = sorted(tellers, key=lambda teller: (minutes.get(teller, _METER_MINUTES), teller))
    chosen = _fewest(failing, ranked) if lost else []
    left = tuple(
        tuple(group) for group in _classes(failing, tellers).values() if len({each.piece for each in group}) > 1
    )
    return replace(told, split_by=tuple(chosen), left=left)


def _classes(failing: Iterable[Failing], tellers: Iterable[str]) -> dict[frozenset[str], list[Failing]]:
    """Failures by what these tellers say of them."""
    said = frozenset(tellers)
    found: dict[frozenset[str], list[Failing]] = defaultdict(list)
    for each in failing:
        found[each.told_by & said].append(each)
    return found


def _unsettled(groups: Iterable[Sequence[Failing]]) -> int:
    """Pairs that stand in one group and are mended by different pieces."""
    pairs = 0
    for group in groups:
        counts = Counter(each.piece for each in group)
        pairs += (len(group) ** 2 - sum(count**2 for count in counts.values())) // 2
    return pairs


def _fewest(failing: Sequence[Failing], ranked: Sequence[str]) -> list[str]:
    """Tellers that settle what all of them settle: the most telling first, then none that the others make idle.

    What a teller settles never grows by what was asked before it, so only the
    one that looks best has to be weighed again (M. Minoux, "Accelerated greedy
    algorithms for maximizing submodular set functions", 1978; from memory).
    """
    best = _unsettled(_classes(failing, ranked).values())
    groups: list[list[Failing]] = [list(failing)]
    open_pairs = _unsettled(groups)
    bounds = [(-open_pairs, rank) for rank in range(len(ranked))]
    chosen: list[str] = []
    while open_pairs > best:
        _, rank = heapq.heappop(bounds)
        split = _split(groups, ranked[rank])
        gain = open_pairs - _unsettled(split)
        if bounds and (-gain, rank) > bounds[0]:
            heapq.heappush(bounds, (-gain, rank))
        else:
            groups, open_pairs = split, open_pairs - gain
            chosen.append(ranked[rank])
    for one in sorted(chosen, key=ranked.index, reverse=True):
        others = [each for each in chosen if each != one]
        if _unsettled(_classes(failing, others).values()) == best:
            chosen = others
    return sorted(chosen, key=ranked.index)


def _split(groups: Iterable[Iterable[Failing]], teller: str) -> list[list[Failing]]:
    split: list[list[Failing]] = []
    for group in groups:
        sides: tuple[list[Failing], list[Failing]] = ([], [])
        for each in group:
            sides[teller in each.told_by].append(each)
        split += [side for side in sides if len(side) > 1]
    return split


def _unproven(layout: Layout) -> Iterable[str]:
    asked = {need for check in layout.profile.checks for need in check.needs}
    return (device.id for device in layout.profile.devices if by_hand_only(device) and device.id not in asked)


def unexplained(layout: Layout) -> tuple[str, ...]:
    """Devices whose absence a single fault that the profile names explains worse than what it does not know.

    What it does not know is a fault of no part, or a slip of one capture. Only
    a profile whose weights make all that it names unlikely has such devices.
    """
    return tuple(
        device.id for device in layout.profile.devices if counted_on(device) and not _is_explained(layout, device)
    )


def _is_explained(layout: Layout, device: ExpectedDevice) -> bool:
    seen = observed(layout, device, Symptom.ABSENT)
    named, unknown = 0.0, seen.clean
    for hazard in seen.hazards:
        site = layout.sites[hazard.fault]
        weight = site.prior / (1 - site.prior) * (hazard.shows + hazard.passes * seen.clean)
        if site.part == UNKNOWN_PART:
            unknown += weight
        else:
            named += weight
    return named >= unknown
