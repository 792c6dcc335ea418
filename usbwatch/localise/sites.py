"""The ways in which a unit of a model can fail, and how likely each is before looking.

Every number here is elicited, not measured: it has no source but experience
of the trade, and says so in ``Site.origin``. Closed cases are to replace them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from enum import Enum
from functools import lru_cache
from itertools import takewhile

from usbwatch.model.profile import ExpectedDevice, HandCheck, Part, PartKind, Profile
from usbwatch.model.suspects import Cure, CureKind, Site

__all__ = [
    "ACTS_IN_A_CAPTURE",
    "DEAD_PRIORS",
    "HUNG_PRIORS",
    "KINDS_OF_PART",
    "PRIORS",
    "SOFTWARE_PRIORS",
    "TRIED_BY_HAND",
    "UNKNOWN_PART",
    "SiteKind",
    "about",
    "fitted",
    "kind_of",
    "site_id",
    "sites",
]


class SiteKind(Enum):
    """What fails, and how. The value begins the site's id."""

    OPEN = "open"
    """A link is unseated: no contact, and whole once it is seated again."""
    BROKEN = "broken"
    """A link is torn or burnt."""
    LOOSE = "loose"
    """A link that makes contact at times: whether it does is one chance per capture, for all that it carries."""
    SECTION = "section"
    """A section of a board."""
    RAIL = "rail"
    """A supply is off or sags."""
    WHOLE = "whole"
    """A cause that takes much of a subassembly at once, such as liquid."""
    SOFTWARE = "software"
    """A device's driver is not there, or the device is disabled or blocked."""
    HUNG = "hung"
    """A device's own firmware, or its driver, has hung: whole again after the unit was without power."""
    DEAD = "dead"
    """A device's own electronics."""
    POOR = "poor"
    """What only a hand check shows: a keyboard that answers, but whose keys do not."""
    DANGER = "danger"
    """What a hand check with a ``stop`` looks for, such as a swollen pack: it spoils that check and nothing else."""
    UNKNOWN = "unknown"
    """What the profile does not know of, at one device: the model's humility. No step of the bench reaches it."""


PRIORS = {
    SiteKind.OPEN: 0.012,
    SiteKind.BROKEN: 0.005,
    SiteKind.LOOSE: 0.004,
    SiteKind.SECTION: 0.006,
    SiteKind.RAIL: 0.004,
    SiteKind.WHOLE: 0.004,
    SiteKind.SOFTWARE: 0.004,
    SiteKind.DEAD: 0.01,
    SiteKind.POOR: 0.018,
    SiteKind.DANGER: 0.008,
    SiteKind.UNKNOWN: 0.0011,
}
"""Probability of each kind of failure, per site, in a unit that comes to the bench."""

DEAD_PRIORS = {
    "battery": 0.03,
    "disk": 0.015,
    "graphics": 0.004,
    "hub": 0.005,
    "keyboard": 0.02,
    "lid": 0.004,
    "mains-adapter": 0.004,
    "panel": 0.015,
    "storage": 0.015,
    "touchscreen": 0.015,
    "usb-controller": 0.002,
}
"""Functions whose devices die more, or less, often than ``PRIORS[DEAD]``."""

SOFTWARE_PRIORS = {
    "battery": 0.001,
    "bluetooth": 0.02,
    "camera": 0.015,
    "fingerprint-reader": 0.015,
    "hub": 0.001,
    "lid": 0.001,
    "mains-adapter": 0.001,
    "power-button": 0.001,
    "usb-controller": 0.001,
    "wlan": 0.02,
    "wwan": 0.02,
}
"""Functions with switches and firmware settings to block them, or with a driver that every kernel has."""

HUNG_PRIORS = {
    "battery": 0.004,
    "bluetooth": 0.005,
    "camera": 0.003,
    "fingerprint-reader": 0.003,
    "hub": 0.001,
    "keyboard": 0.001,
    "touchpad": 0.004,
    "touchscreen": 0.004,
    "usb-controller": 0.001,
    "wlan": 0.004,
}
"""Functions of devices with firmware of their own that is known to hang."""

ACTS_IN_A_CAPTURE = {SiteKind.LOOSE: 0.6}
"""How often what comes and goes is away, in a capture of a unit that is left alone; all else always acts."""

TRIED_BY_HAND = frozenset({"keyboard", "mouse", "pointing-device", "pointing-stick", "touchpad", "touchscreen"})
"""Functions of devices that a person can try, so that one that answers and does nothing shows in a capture."""

_ORIGIN = "elicited, no source"
_LEAST, _MOST = 1e-6, 0.5

UNKNOWN_PART = "?"
"""Stands in ``Site.part`` for what no part of the profile is; no id has this form."""

KINDS_OF_PART = {
    PartKind.LINK: (SiteKind.OPEN, SiteKind.BROKEN, SiteKind.LOOSE),
    PartKind.SECTION: (SiteKind.SECTION,),
    PartKind.RAIL: (SiteKind.RAIL,),
    PartKind.SUBASSEMBLY: (SiteKind.WHOLE,),
}
"""How each kind of part fails."""

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


def site_id(kind: SiteKind, of: str) -> str:
    """The id of the site of one kind at one part or device.

    >>> site_id(SiteKind.DEAD, "keyboard")
    'dead:keyboard'
    """
    return f"{kind.value}:{of}"


def kind_of(site: Site) -> tuple[SiteKind, str]:
    """What a site's id says: how it fails, and of what it is.

    >>> kind_of(Site(id="dead:keyboard", name="", part="", prior=0.1, origin=""))
    (<SiteKind.DEAD: 'dead'>, 'keyboard')
    """
    return _of_id(site.id)


@lru_cache(maxsize=4096)
def _of_id(id_: str) -> tuple[SiteKind, str]:
    kind, _, of = id_.partition(":")
    return SiteKind(kind), of


def sites(profile: Profile) -> tuple[Site, ...]:
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


def _of_parts(profile: Profile) -> Iterator[Site]:
    wholes = _failing_as_a_whole(profile)
    for part in profile.parts:
        for kind in KINDS_OF_PART[part.kind]:
            if kind is not SiteKind.WHOLE or part.id in wholes:
                words = _WORDS_OF_PART[kind].format(part.name)
                yield _site(kind, part.id, words, _mends(part), prior=PRIORS[kind], weight=_weight(profile, part))


def _of_devices(profile: Profile) -> Iterator[Site]:
    for device in profile.devices:
        software = SOFTWARE_PRIORS.get(device.function, PRIORS[SiteKind.SOFTWARE])
        dead = DEAD_PRIORS.get(device.function, PRIORS[SiteKind.DEAD])
        weight = _weight(profile, device)
        words = f"{device.name}: no driver, disabled or blocked"
        yield _site(SiteKind.SOFTWARE, device.id, words, "", prior=software)
        if device.function in HUNG_PRIORS:
            words = f"{device.name}: its firmware or driver has hung"
            yield _site(SiteKind.HUNG, device.id, words, "", prior=HUNG_PRIORS[device.function])
        yield _site(SiteKind.DEAD, device.id, f"{device.name} itself", device.within, prior=dead, weight=weight)
        words = f"{device.name}: something that the profile does not know"
        yield _site(SiteKind.UNKNOWN, device.id, words, UNKNOWN_PART, prior=PRIORS[SiteKind.UNKNOWN])


def about(check: HandCheck, profile: Profile) -> tuple[str, ...]:
    """What a hand check is about: the last thing that it needs; several subassemblies named last, all of them.

    "Are the liquid indicators of mainboard, I/O board and top case clear?" is
    about three boards, and a no accuses none of them before the others.
    """
    subassemblies = {part.id for part in profile.parts if part.kind is PartKind.SUBASSEMBLY}
    last = tuple(takewhile(subassemblies.__contains__, reversed(check.needs)))
    return last[::-1] or check.needs[-1:]


def _working_badly(profile: Profile) -> Iterator[Site]:
    subjects = {subject for check in profile.checks if not check.stop for subject in about(check, profile)}
    prior = PRIORS[SiteKind.POOR]
    for part in profile.parts:
        if part.id in subjects and part.kind not in (PartKind.LINK, PartKind.RAIL):
            words = f"{part.name}: something else in it"
            yield _site(SiteKind.POOR, part.id, words, _mends(part), prior=prior, weight=_weight(profile, part))
    for device in profile.devices:
        if device.id in subjects or device.function in TRIED_BY_HAND:
            words = f"{device.name} answers but does its work badly"
            yield _site(SiteKind.POOR, device.id, words, device.within, prior=prior, weight=_weight(profile, device))


def _dangers(profile: Profile) -> Iterator[Site]:
    """One for each check with a ``stop`` that is about something, of the part that is replaced for it."""
    mended = {part.id: (part.name, _mends(part)) for part in profile.parts}
    mended |= {device.id: (device.name, device.within) for device in profile.devices}
    for check in profile.checks:
        known = [mended[subject] for subject in about(check, profile) if subject in mended]
        if check.stop and known:
            name, part = known[0]
            yield _site(SiteKind.DANGER, check.id, f"{name} in a dangerous state", part, prior=PRIORS[SiteKind.DANGER])


def _site(kind: SiteKind, of: str, name: str, part: str, *, prior: float, weight: float = 1.0) -> Site:
    origin = _ORIGIN if weight == 1 else f"{_ORIGIN}; times {weight:g}, the profile's weight"
    return Site(
        id=site_id(kind, of),
        name=name,
        part=part,
        prior=min(_MOST, max(_LEAST, prior * weight)),
        origin=origin,
        cure=_cure(kind, of, part),
    )


_CURES = {
    SiteKind.OPEN: CureKind.RESEAT,
    SiteKind.SOFTWARE: CureKind.RELOAD,
    SiteKind.HUNG: CureKind.DRAIN,
}
"""What mends each kind of failure at the least cost; all others are mended by replacing the part."""


def _cure(kind: SiteKind, of: str, part: str) -> Cure | None:
    if kind is SiteKind.UNKNOWN:
        return None
    mends = _CURES.get(kind, CureKind.REPLACE)
    return Cure(kind=mends, of={CureKind.DRAIN: "", CureKind.REPLACE: part}.get(mends, of))


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
