"""The ways in which a unit of a model can fail: of what part each is, and what mends it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import takewhile

from usbwatch.localise.kinds import HUNG_PRIORS, KINDS_OF_PART, TRIED_BY_HAND, UNKNOWN_PART, SiteKind, site_id
from usbwatch.model.profile import ExpectedDevice, HandCheck, Part, PartKind, Profile

__all__ = ["Way", "about", "fitted", "ways"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way in which one thing can fail."""

    kind: SiteKind
    of: str
    """Id of the part, device or hand check."""
    name: str
    """In words."""
    part: str
    """Id of the part that is replaced or reseated to mend it; "" for software."""
    function: str = ""
    """Function of the device; "" for a part or a hand check."""
    weight: float = 1.0
    """How much likelier than usual, by the profile."""

    @property
    def site(self) -> str:
        """Id of the site that it makes."""
        return site_id(self.kind, self.of)


_WORDS_OF_PART = {
    SiteKind.OPEN: "{} open or unseated",
    SiteKind.BROKEN: "{} torn or burnt",
    SiteKind.LOOSE: "{} makes contact only at times",
    SiteKind.SECTION: "{} failed",
    SiteKind.RAIL: "{} off or sagging",
    SiteKind.WHOLE: "{} as a whole, such as by liquid",
}


def fitted(profile: Profile, variant: str) -> Profile:
    """The profile less the devices and hand checks that the variant does not have; "": all of it."""
    lacking = {id_ for each in profile.variants if each.id == variant for id_ in each.without}
    return replace(
        profile,
        devices=tuple(device for device in profile.devices if device.id not in lacking),
        checks=tuple(check for check in profile.checks if check.id not in lacking),
    )


def ways(profile: Profile) -> tuple[Way, ...]:
    """Every way in which a unit of this (fitted) profile can fail: parts first, then devices.

    A subassembly fails as a whole where something needs it by name, or where
    it has no sections and carries two devices or more: elsewhere its sections
    or its one device already say so. A *poor* site is made for what a hand
    check is about (``about``), and a *danger* for each check with a ``stop``,
    which is evidence of nothing else: most packs with a silent gauge are flat.

    A subassembly's weight counts for all that is mended by replacing it,
    beside the weight of the section, rail or device itself.
    """
    return (*_of_parts(profile), *_of_devices(profile), *_working_badly(profile), *_dangers(profile))


def _of_parts(profile: Profile) -> Iterator[Way]:
    wholes = _failing_as_a_whole(profile)
    for part in profile.parts:
        for kind in KINDS_OF_PART[part.kind]:
            if kind is not SiteKind.WHOLE or part.id in wholes:
                words = _WORDS_OF_PART[kind].format(part.name)
                yield Way(kind=kind, of=part.id, name=words, part=_mends(part), weight=_weight(profile, part))


def _of_devices(profile: Profile) -> Iterator[Way]:
    for device in profile.devices:
        of, function = device.id, device.function
        words = f"{device.name}: no driver, disabled or blocked"
        yield Way(kind=SiteKind.SOFTWARE, of=of, name=words, part="", function=function)
        if function in HUNG_PRIORS:
            words = f"{device.name}: its firmware or driver has hung"
            yield Way(kind=SiteKind.HUNG, of=of, name=words, part="", function=function)
        words, weight = f"{device.name} itself", _weight(profile, device)
        yield Way(kind=SiteKind.DEAD, of=of, name=words, part=device.within, function=function, weight=weight)
        words = f"{device.name}: something that the profile does not know"
        yield Way(kind=SiteKind.UNKNOWN, of=of, name=words, part=UNKNOWN_PART, function=function)


def about(check: HandCheck, profile: Profile) -> tuple[str, ...]:
    """What a hand check is about: the last thing that it needs; several subassemblies named last, all of them.

    "Are the liquid indicators of mainboard, I/O board and top case clear?" is
    about three boards, and a no accuses none of them before the others.
    """
    subassemblies = {part.id for part in profile.parts if part.kind is PartKind.SUBASSEMBLY}
    last = tuple(takewhile(subassemblies.__contains__, reversed(check.needs)))
    return last[::-1] or check.needs[-1:]


def _working_badly(profile: Profile) -> Iterator[Way]:
    subjects = {subject for check in profile.checks if not check.stop for subject in about(check, profile)}
    for part in profile.parts:
        if part.id in subjects and part.kind not in (PartKind.LINK, PartKind.RAIL):
            words, weight = f"{part.name}: something else in it", _weight(profile, part)
            yield Way(kind=SiteKind.POOR, of=part.id, name=words, part=_mends(part), weight=weight)
    for device in profile.devices:
        if device.id in subjects or device.function in TRIED_BY_HAND:
            yield Way(
                kind=SiteKind.POOR,
                of=device.id,
                name=f"{device.name} answers but does its work badly",
                part=device.within,
                function=device.function,
                weight=_weight(profile, device),
            )


def _dangers(profile: Profile) -> Iterator[Way]:
    """One for each check with a ``stop`` that is about something, of the part that is replaced for it."""
    mended = {part.id: (part.name, _mends(part)) for part in profile.parts}
    mended |= {device.id: (device.name, device.within) for device in profile.devices}
    for check in profile.checks:
        known = [mended[subject] for subject in about(check, profile) if subject in mended]
        if check.stop and known:
            name, part = known[0]
            yield Way(kind=SiteKind.DANGER, of=check.id, name=f"{name} in a dangerous state", part=part)


def _mends(part: Part) -> str:
    return part.within or part.id


def _weight(profile: Profile, of: Part | ExpectedDevice) -> float:
    """Its own weight times that of the subassembly that it belongs to."""
    carriers = (part.weight for part in profile.parts if part.id == of.within)
    return of.weight * next(carriers, 1.0)


def _failing_as_a_whole(profile: Profile) -> set[str]:
    named = {need for device in profile.devices for need in device.needs}
    named |= {need for check in profile.checks if not check.stop for need in check.needs}
    carried = Counter(device.within for device in profile.devices)
    sectioned = {part.within for part in profile.parts if part.kind is PartKind.SECTION}
    return named | {id_ for id_, devices in carried.items() if devices > 1 and id_ not in sectioned}
