"""What a profile can tell apart: which failures a capture shows, which of them look alike in it, and what would tell.

Two failures look alike where all devices that can be counted on come out the
same (``usbwatch.localise.failing``). In diagnosis this is a comparison of
fault signatures: two faults are discriminable when theirs differ
(L. Travé-Massuyès, T. Escobet and X. Olive, "Diagnosability Analysis Based on
Component-Supported Analytical Redundancy Relations", IEEE Transactions on
Systems, Man and Cybernetics A 36, 2006; from memory).
"""

from __future__ import annotations

import heapq
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from usbwatch.compare.by_hand import by_hand_only
from usbwatch.localise.failing import Failing, counted_on, failing
from usbwatch.localise.observations import observed
from usbwatch.localise.paths import Layout, lay_out
from usbwatch.localise.sites import UNKNOWN_PART
from usbwatch.model.findings import Symptom
from usbwatch.model.profile import ExpectedDevice, PartKind, Profile

__all__ = ["Alike", "Discerned", "InVariant", "Left", "discern", "discern_model", "unexplained"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """Failures of several pieces that nothing tells apart but exchanging one."""

    failing: tuple[Failing, ...]
    lacking: tuple[str, ...]
    """Ids such that a hand check which needs one, for each of them, would tell the pieces apart."""

    @property
    def in_some_units(self) -> frozenset[str]:
        """Devices that tell some of them apart in a unit that has them."""
        spoiled = [each.perhaps for each in self.failing]
        return frozenset().union(*spoiled) - frozenset.intersection(*spoiled)


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
    left: tuple[Left, ...] = ()
    """What looks alike after all of them as well, where it is not one piece."""

    @property
    def pieces(self) -> tuple[str, ...]:
        """Ids of what would be replaced, each once."""
        return tuple(dict.fromkeys(each.piece for each in self.failing))


@dataclass(frozen=True, slots=True, kw_only=True)
class InVariant:
    """What nothing tells apart in one variant, and something does in a unit that has everything."""

    variant: str
    """Id of the variant."""
    group: Alike
    left: Left


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
    in_variants: tuple[InVariant, ...] = ()
    """What cannot be told apart in some variants alone, for want of what they do not have."""

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


_MOST_VARIANTS = 10
"""Variants that are gone through; each is a layout of its own."""


def discern_model(profile: Profile) -> Discerned:
    """What can be told apart in a unit that has all of the profile, and what not in its variants alone."""
    whole = discern(lay_out(profile))
    known = [{each.of for each in left.failing} for group in whole.groups for left in group.left]
    variants = [variant for variant in profile.variants if variant.without][:_MOST_VARIANTS]
    found = (
        InVariant(variant=variant.id, group=group, left=left)
        for variant in variants
        for group in discern(lay_out(profile, variant.id)).groups
        for left in group.left
        if not any({each.of for each in left.failing} <= other for other in known)
    )
    return replace(whole, in_variants=tuple(found))


def discern(layout: Layout) -> Discerned:
    """What can be told apart in units of this layout."""
    every = failing(layout)
    groups: dict[frozenset[str], list[Failing]] = defaultdict(list)
    for each in every:
        if each.shows or each.has_check:
            groups[each.shows].append(each)
    order = {device.id: number for number, device in enumerate(layout.profile.devices)}
    minutes = {check.id: check.minutes for check in layout.profile.checks}
    alike = [
        _alike(tuple(sorted(lost, key=order.__getitem__)), group, minutes, layout) for lost, group in groups.items()
    ]
    return Discerned(
        groups=tuple(sorted(alike, key=lambda group: -len(group.lost))),
        perhaps=tuple(each for each in every if each.perhaps and not (each.shows or each.has_check)),
        unobserved=tuple(each for each in every if not (each.shows or each.perhaps or each.has_check)),
        unproven=tuple(_unproven(layout)),
        unexplained=unexplained(layout),
    )


_METER_MINUTES = 10_000
"""A measurement that no hand check of the profile describes comes after all that one does."""


def _alike(lost: tuple[str, ...], group: Sequence[Failing], minutes: dict[str, int], layout: Layout) -> Alike:
    told = Alike(lost=lost, failing=tuple(group))
    if len(told.pieces) == 1:
        return told
    tellers = {teller for each in group for teller in each.told_by}
    ranked = sorted(tellers, key=lambda teller: (minutes.get(teller, _METER_MINUTES), teller))
    chosen = _fewest(group, ranked) if lost else []
    same = [own for own in _classes(group, tellers).values() if len({each.piece for each in own}) > 1]
    left = tuple(Left(failing=tuple(own), lacking=_lacking(own, layout)) for own in same)
    return replace(told, split_by=tuple(chosen), left=left)


def _classes(group: Iterable[Failing], tellers: Iterable[str]) -> dict[frozenset[str], list[Failing]]:
    """Failures by what these tellers say of them."""
    said = frozenset(tellers)
    found: dict[frozenset[str], list[Failing]] = defaultdict(list)
    for each in group:
        found[each.told_by & said].append(each)
    return found


def _unsettled(groups: Iterable[Sequence[Failing]]) -> int:
    """Pairs that stand in one group and are mended by different pieces."""
    pairs = 0
    for group in groups:
        counts = Counter(each.piece for each in group)
        pairs += (len(group) ** 2 - sum(count**2 for count in counts.values())) // 2
    return pairs


def _fewest(group: Sequence[Failing], ranked: Sequence[str]) -> list[str]:
    """Tellers that settle what all of them settle: the most telling first, then none that the others make idle.

    What a teller settles never grows by what was asked before it, so only the
    one that looks best has to be weighed again (M. Minoux, "Accelerated greedy
    algorithms for maximizing submodular set functions", 1978; from memory).
    """
    best = _unsettled(_classes(group, ranked).values())
    groups: list[list[Failing]] = [list(group)]
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
        if _unsettled(_classes(group, others).values()) == best:
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


_EASIEST = (PartKind.LINK, PartKind.RAIL, PartKind.SECTION, PartKind.SUBASSEMBLY, None)
"""What a hand check can most easily be about: a plug that is looked at, a supply that is measured; last a device."""


def _lacking(alike: Sequence[Failing], layout: Layout) -> tuple[str, ...]:
    """What hand checks would have to be about to tell these apart.

    One piece needs none, for a "yes" to all of them tells it: that of what
    lies farthest from the processor, since a check about that depends on all
    that lies on the way.
    """
    kinds = {part.id: part.kind for part in layout.profile.parts}
    farness = {each.of: (_EASIEST.index(kinds.get(each.of)), len(layout.paths.get(each.of, ()))) for each in alike}
    by_piece: dict[str, list[str]] = defaultdict(list)
    for each in alike:
        by_piece[each.piece].append(each.of)
    nearest_first = sorted(by_piece.values(), key=lambda own: max(farness[of] for of in own))
    return tuple(dict.fromkeys(of for own in nearest_first[:-1] for of in own))


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
