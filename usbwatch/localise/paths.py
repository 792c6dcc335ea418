"""What each observation depends on, host side first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from usbwatch.localise.sites import KINDS_OF_PART, TRIED_BY_HAND, SiteKind, about, fitted, site_id, sites
from usbwatch.localise.symptoms import Effect
from usbwatch.model.cases import Experience
from usbwatch.model.profile import ExpectedDevice, HandCheck, Part, Profile
from usbwatch.model.suspects import Site

__all__ = ["Layout", "Step", "lay_out"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One site on the path of an observation."""

    site: int
    """Index into ``Layout.sites``."""
    effect: Effect


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How one variant of a model can fail, and what each failure reaches."""

    profile: Profile
    """Less what the variant does not have."""
    sites: tuple[Site, ...]
    paths: dict[str, tuple[Step, ...]]
    """By id of device or hand check: the sites that can spoil it, host side first, each once."""


def lay_out(profile: Profile, variant: str = "", experience: Experience | None = None) -> Layout:
    """The sites of a profile and the path of each of its devices and hand checks.

    A path is the closure of ``needs``, then the device's subassembly as a
    whole, its software, and itself. A device that is needed brings its own
    whole path along. A need that is not fitted in this variant is passed over.
    Closed cases (``experience``) bear on the priors alone.
    """
    profile = fitted(profile, variant)
    all_sites = sites(profile, experience)
    index = {site.id: number for number, site in enumerate(all_sites)}
    trace = _Trace(
        parts={part.id: part for part in profile.parts}, devices={device.id: device for device in profile.devices}
    )
    paths = {device.id: _path(trace.of_device(device), index) for device in profile.devices}
    paths |= {check.id: _path(trace.of_check(check, about(check, profile)), index) for check in profile.checks}
    return Layout(profile=profile, sites=all_sites, paths=_in_one_order(paths))


def _in_one_order(paths: dict[str, tuple[Step, ...]]) -> dict[str, tuple[Step, ...]]:
    """The same paths; where some name the same sites in contrary order, all keep that in which each was first named.

    A profile that lists the needs of one device as "rail, flex" and of another
    as "flex, rail" is no reason to do without the sum over all fault sets.
    """
    sorter: TopologicalSorter[int] = TopologicalSorter()
    for path in paths.values():
        for before, after in pairwise(path):
            sorter.add(after.site, before.site)
    try:
        sorter.prepare()
    except CycleError:
        first = {
            site: place for place, site in enumerate(dict.fromkeys(s.site for path in paths.values() for s in path))
        }
        return {id_: tuple(sorted(path, key=lambda step: first[step.site])) for id_, path in paths.items()}
    return paths


_Stop = tuple[str, Effect]
"""A site's id, whether or not the profile has such a site, and what it does."""

_EFFECTS = {
    SiteKind.OPEN: Effect.OPEN,
    SiteKind.BROKEN: Effect.BROKEN,
    SiteKind.LOOSE: Effect.LOOSE,
    SiteKind.SECTION: Effect.SECTION,
    SiteKind.RAIL: Effect.RAIL,
    SiteKind.WHOLE: Effect.WHOLE,
}


def _path(stops: Iterable[_Stop], index: dict[str, int]) -> tuple[Step, ...]:
    first: dict[int, Effect] = {}
    for id_, effect in stops:
        if id_ in index:
            first.setdefault(index[id_], effect)
    return tuple(Step(site=site, effect=effect) for site, effect in first.items())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trace:
    """Walks ``needs``, host side first; ``passed`` holds the devices already walked, so that a ring ends."""

    parts: dict[str, Part]
    devices: dict[str, ExpectedDevice]

    def of_device(self, device: ExpectedDevice) -> Iterator[_Stop]:
        yield from self._reaching(device, {device.id})
        yield site_id(SiteKind.SOFTWARE, device.id), Effect.SOFTWARE
        yield site_id(SiteKind.HUNG, device.id), Effect.HUNG
        yield site_id(SiteKind.DEAD, device.id), Effect.DEAD
        if device.function in TRIED_BY_HAND:
            yield site_id(SiteKind.POOR, device.id), Effect.POOR_ITSELF
        yield site_id(SiteKind.UNKNOWN, device.id), Effect.UNKNOWN

    def of_check(self, check: HandCheck, subjects: tuple[str, ...]) -> Iterator[_Stop]:
        if check.stop:
            yield site_id(SiteKind.DANGER, check.id), Effect.DANGER
            return
        yield from self._needs(check.needs, set())
        for need in check.needs:
            # Graphics that show no picture leave the panel dark, too.
            if need in self.devices and need not in subjects:
                yield site_id(SiteKind.POOR, need), Effect.POOR
        for subject in subjects:
            for device in self._sole_devices(subject):
                yield site_id(SiteKind.DEAD, device), Effect.SOLE_DEAD
            yield site_id(SiteKind.POOR, subject), Effect.POOR

    def _sole_devices(self, part: str) -> tuple[str, ...]:
        """The device of a subassembly that carries one alone: what kills it mostly kills the subassembly."""
        carried = tuple(device.id for device in self.devices.values() if device.within == part)
        return carried if len(carried) == 1 else ()

    def _needs(self, needs: tuple[str, ...], passed: set[str]) -> Iterator[_Stop]:
        for need in needs:
            if need in self.parts:
                yield from self._part(self.parts[need])
            elif need in self.devices and need not in passed:
                passed.add(need)
                yield from self._reaching(self.devices[need], passed)
                yield site_id(SiteKind.SOFTWARE, need), Effect.CARRIER_SOFTWARE
                yield site_id(SiteKind.HUNG, need), Effect.CARRIER_DEAD
                yield site_id(SiteKind.DEAD, need), Effect.CARRIER_DEAD

    def _reaching(self, device: ExpectedDevice, passed: set[str]) -> Iterator[_Stop]:
        """All that lies between the host and the device."""
        yield from self._needs(device.needs, passed)
        yield site_id(SiteKind.WHOLE, device.within), Effect.WHOLE

    def _part(self, part: Part) -> Iterator[_Stop]:
        if part.within:
            yield site_id(SiteKind.WHOLE, part.within), Effect.WHOLE
        for kind in KINDS_OF_PART[part.kind]:
            yield site_id(kind, part.id), _EFFECTS[kind]
