"""What each observation depends on, host side first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from usbwatch.localise.sites import SiteKind, about, fitted, site_id, sites
from usbwatch.localise.symptoms import Effect
from usbwatch.model.profile import ExpectedDevice, HandCheck, Part, PartKind, Profile
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


def lay_out(profile: Profile, variant: str = "") -> Layout:
    """The sites of a profile and the path of each of its devices and hand checks.

    A path is the closure of ``needs``, then the device's subassembly as a
    whole, its software, and itself. A device that is needed brings its own
    whole path along. A need that is not fitted in this variant is passed over.
    """
    profile = fitted(profile, variant)
    all_sites = sites(profile)
    index = {site.id: number for number, site in enumerate(all_sites)}
    trace = _Trace(
        parts={part.id: part for part in profile.parts}, devices={device.id: device for device in profile.devices}
    )
    paths = {device.id: _path(trace.of_device(device), index) for device in profile.devices}
    paths |= {check.id: _path(trace.of_check(check, about(check, profile)), index) for check in profile.checks}
    return Layout(profile=profile, sites=all_sites, paths=paths)


_Stop = tuple[str, Effect]
"""A site's id, whether or not the profile has such a site, and what it does."""

_OF_PART = {
    PartKind.LINK: (SiteKind.LINK, Effect.LINK),
    PartKind.SECTION: (SiteKind.SECTION, Effect.SECTION),
    PartKind.RAIL: (SiteKind.RAIL, Effect.RAIL),
    PartKind.SUBASSEMBLY: (SiteKind.WHOLE, Effect.WHOLE),
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
        yield site_id(SiteKind.DEAD, device.id), Effect.DEAD

    def of_check(self, check: HandCheck, subjects: tuple[str, ...]) -> Iterator[_Stop]:
        yield from self._needs(check.needs, set())
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
                yield site_id(SiteKind.DEAD, need), Effect.CARRIER_DEAD

    def _reaching(self, device: ExpectedDevice, passed: set[str]) -> Iterator[_Stop]:
        """All that lies between the host and the device."""
        yield from self._needs(device.needs, passed)
        yield site_id(SiteKind.WHOLE, device.within), Effect.WHOLE

    def _part(self, part: Part) -> Iterator[_Stop]:
        if part.within:
            yield site_id(SiteKind.WHOLE, part.within), Effect.WHOLE
        kind, effect = _OF_PART[part.kind]
        yield site_id(kind, part.id), effect
