"""How a model can fail, and what each failure reaches: worked out from a layout by the simulator's own rules."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass

from benchmarks.bench_simulator.tables import World
from usbwatch.model import ExpectedDevice, HandCheck, PartKind, Profile

__all__ = ["MENDED_BY", "Anatomy", "Mode"]

MENDED_BY = {"open": "reseat", "software": "reload", "hung": "drain", "strange": ""}
"""Kinds of failure that need no new part; "": nothing at the bench mends it."""

_TRIED = frozenset(("keyboard", "mouse", "pointing-device", "pointing-stick", "touchpad", "touchscreen"))
"""Functions that a person tries while a capture is taken."""

_OF_PART = {
    PartKind.LINK: ("open", "torn", "loose"),
    PartKind.SECTION: ("section",),
    PartKind.RAIL: ("rail",),
    PartKind.SUBASSEMBLY: ("soaked",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """One way of failing."""

    kind: str
    of: str
    part: str
    """What is replaced to mend it; "" for software, "?" for what nobody knows."""
    prior: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Anatomy:
    """How a model fails in a world: worked out from the layout by the simulator's own rules."""

    profile: Profile
    world: World
    modes: tuple[Mode, ...]
    paths: dict[str, tuple[tuple[int, str], ...]]
    """By device or check: number of mode, and shape of what it does; host side first."""
    carriers: dict[str, str]
    """By device, the hub that it hangs on."""
    often_unseen: tuple[str, ...]
    functions: dict[str, str]
    on_usb: frozenset[str]

    @classmethod
    def of(cls, profile: Profile, often_unseen: tuple[str, ...], world: World, seed: int) -> Anatomy:
        """The anatomy of one model; ``seed`` decides which of its priors are wrong, and which way."""
        coin = random.Random(f"{seed} {profile.id}")
        modes = tuple(_modes(profile, world, coin))
        index = {(mode.kind, mode.of): number for number, mode in enumerate(modes)}
        walk = _Walk(profile)
        stops = {each.id: walk.device(each) for each in profile.devices}
        stops |= {each.id: walk.check(each) for each in profile.checks}
        hubs = {each.id for each in profile.devices if each.function in ("hub", "usb-controller")}
        return cls(
            profile=profile,
            world=world,
            modes=modes,
            paths={id_: _numbered(each, index) for id_, each in stops.items()},
            carriers={each.id: need for each in profile.devices for need in each.needs if need in hubs},
            often_unseen=often_unseen,
            functions={each.id: each.function for each in profile.devices},
            on_usb=frozenset(each.id for each in profile.devices if each.locations),
        )


def _modes(profile: Profile, world: World, coin: random.Random) -> Iterator[Mode]:
    for kind, of, part, function in _ways(profile):
        prior = world.prior_of(kind, function)
        wrong_by = world.prior_wrong_by if coin.random() < 0.5 else 1 / world.prior_wrong_by  # noqa: PLR2004
        if prior is not None:
            yield Mode(kind=kind, of=of, part=part, prior=min(0.3, prior * wrong_by))


def _ways(profile: Profile) -> Iterator[tuple[str, str, str, str]]:
    """Kind, of what, what is replaced, and the function on which the prior depends."""
    soaked = _soaked_at_once(profile)
    for part in profile.parts:
        for kind in _OF_PART[part.kind]:
            if kind != "soaked" or part.id in soaked:
                yield kind, part.id, part.within or part.id, ""
    for device in profile.devices:
        yield "software", device.id, "", device.function
        yield "hung", device.id, "", device.function
        yield "dead", device.id, device.within, device.function
        yield "strange", device.id, "?", ""
    owner = {part.id: part.within or part.id for part in profile.parts if part.kind is not PartKind.LINK}
    owner |= {device.id: device.within for device in profile.devices}
    tried = [device.id for device in profile.devices if device.function in _TRIED]
    for subject in dict.fromkeys([*(check.needs[-1] for check in profile.checks), *tried]):
        if subject in owner:
            yield "poor", subject, owner[subject], ""


def _soaked_at_once(profile: Profile) -> set[str]:
    """Subassemblies that liquid takes as a whole: needed by name, or of several devices and no sections."""
    needed = {need for device in profile.devices for need in device.needs}
    needed |= {need for check in profile.checks for need in check.needs}
    split = {part.within for part in profile.parts if part.kind is PartKind.SECTION}
    carried = [device.within for device in profile.devices]
    return {
        part.id for part in profile.parts if part.id in needed or (carried.count(part.id) > 1 and part.id not in split)
    }


class _Walk:
    """What lies on the way to a device, host side first."""

    def __init__(self, profile: Profile) -> None:
        self._parts = {part.id: part for part in profile.parts}
        self._devices = {device.id: device for device in profile.devices}

    def device(self, device: ExpectedDevice) -> list[tuple[str, str, str]]:
        """Kind, of what, and the shape of what it does to this device."""
        own = [(kind, device.id, kind) for kind in ("software", "hung", "dead")]
        own += [("poor", device.id, "poor itself")] if device.function in _TRIED else []
        return [*self._way(device), *own, ("strange", device.id, "strange")]

    def check(self, check: HandCheck) -> list[tuple[str, str, str]]:
        """The same for a hand check."""
        about = check.needs[-1]
        inside = [device.id for device in self._devices.values() if device.within == about]
        sole = [("dead", inside[0], "dead, only one in it")] if len(inside) == 1 else []
        return [*self._needs(check.needs), *sole, ("poor", about, "poor")]

    def _way(self, device: ExpectedDevice) -> list[tuple[str, str, str]]:
        return [*self._needs(device.needs), ("soaked", device.within, "soaked")]

    def _needs(self, needs: tuple[str, ...]) -> list[tuple[str, str, str]]:
        found: list[tuple[str, str, str]] = []
        for need in needs:
            if need in self._devices:
                found += self._way(self._devices[need])
                found += [("software", need, "software of a carrier")]
                found += [(kind, need, "dead carrier") for kind in ("hung", "dead")]
                continue
            part = self._parts[need]
            if part.within:
                found.append(("soaked", part.within, "soaked"))
            found += [(kind, need, kind) for kind in _OF_PART[part.kind]]
        return found


def _numbered(stops: list[tuple[str, str, str]], index: dict[tuple[str, str], int]) -> tuple[tuple[int, str], ...]:
    """Each mode once, as what it does first."""
    first: dict[int, str] = {}
    for kind, of, shape in stops:
        if (kind, of) in index:
            first.setdefault(index[kind, of], shape)
    return tuple(first.items())
