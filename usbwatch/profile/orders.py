"""Whether the paths of devices name the same things in one order, from the processor outward.

Of several faults on a path the first one shows, so the order counts; and only
where no two paths contradict each other can every set of faults be weighed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from graphlib import CycleError, TopologicalSorter
from itertools import combinations, pairwise

from usbwatch.model import ExpectedDevice, Part, PartKind, Profile
from usbwatch.profile.faults import word

__all__ = ["contrary", "reached"]


def reached(names: Iterable[str], profile: Profile) -> set[str]:
    """All ids that following ``needs`` from these ones comes to, themselves included."""
    needs = {device.id: device.needs for device in profile.devices}
    found: set[str] = set()
    ahead = list(names)
    while ahead:
        name = ahead.pop()
        if name not in found:
            found.add(name)
            ahead += needs.get(name, ())
    return found


def contrary(profile: Profile) -> tuple[str, str] | None:
    """A device whose path contradicts those of others, and in what; None when all agree.

    Hand checks do not count: a check has two outcomes, and for those the order makes no difference.
    """
    paths = _paths(profile)
    sorter: TopologicalSorter[str] = TopologicalSorter()
    for path in paths.values():
        for before, after in pairwise(path):
            sorter.add(after, before)
    try:
        sorter.prepare()
    except CycleError as error:
        return _told(error.args[1], paths)
    return None


def _told(circle: list[str], paths: dict[str, tuple[str, ...]]) -> tuple[str, str]:
    places = {device: {name: place for place, name in enumerate(path)} for device, path in paths.items()}
    for first, second in combinations(dict.fromkeys(circle), 2):
        one, other = _which(places, first, second), _which(places, second, first)
        if one and other:
            later = max((one, first, second), (other, second, first), key=lambda told: list(paths).index(told[0]))
            earlier = one if later[0] == other else other
            return later[0], f"comes to {word(later[1])} before {word(later[2])}, {word(earlier)} the other way round"
    first, second = circle[:2]
    return _which(places, first, second), (
        f"comes to {word(first)} before {word(second)}, other devices taken together the other way round"
    )


def _which(places: dict[str, dict[str, int]], first: str, second: str) -> str:
    """The first device whose path has both, in this order; "" when none has."""
    found = (device for device, at in places.items() if first in at and second in at and at[first] < at[second])
    return next(found, "")


def _paths(profile: Profile) -> dict[str, tuple[str, ...]]:
    walk = _Walk(profile)
    return {device.id: tuple(dict.fromkeys(walk.to(device, {device.id}))) for device in profile.devices}


class _Walk:
    """Ids on the way to a device, as they are met; a subassembly where it can fail as a whole."""

    def __init__(self, profile: Profile) -> None:
        self._parts: dict[str, Part] = {part.id: part for part in profile.parts}
        self._devices: dict[str, ExpectedDevice] = {device.id: device for device in profile.devices}
        self._wholes = _wholes(profile)

    def to(self, device: ExpectedDevice, passed: set[str]) -> list[str]:
        found = []
        for need in device.needs:
            if need in self._parts:
                found += [*self._whole(self._parts[need].within or need), need]
            elif need in self._devices and need not in passed:
                passed.add(need)
                found += self.to(self._devices[need], passed)
        return [*(name for name in found if name in self._wholes or not self._is_subassembly(name)), *self._own(device)]

    def _own(self, device: ExpectedDevice) -> Iterator[str]:
        yield from self._whole(device.within)
        yield device.id

    def _whole(self, name: str) -> Iterator[str]:
        if name in self._wholes:
            yield name

    def _is_subassembly(self, name: str) -> bool:
        return name in self._parts and self._parts[name].kind is PartKind.SUBASSEMBLY


def _wholes(profile: Profile) -> set[str]:
    """Subassemblies that can fail as a whole: those that are needed by name, or carry several devices undivided."""
    subassemblies = {part.id for part in profile.parts if part.kind is PartKind.SUBASSEMBLY}
    named = {need for device in profile.devices for need in device.needs}
    named |= {need for check in profile.checks for need in check.needs}
    carried = Counter(device.within for device in profile.devices)
    divided = {part.within for part in profile.parts if part.kind is PartKind.SECTION}
    return subassemblies & (named | {id_ for id_, count in carried.items() if count > 1 and id_ not in divided})
