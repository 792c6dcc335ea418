"""How things fail, and how likely each way is before anything is known of a model.

Every number here is elicited, not measured: it has no source but experience
of the trade. Closed cases move it (``usbwatch.localise.rates``).
"""

from __future__ import annotations

from enum import Enum

from usbwatch.model.profile import PartKind

__all__ = [
    "ACTS_IN_A_CAPTURE",
    "ACTS_IN_A_WATCH",
    "DEAD_PRIORS",
    "HUNG_PRIORS",
    "KINDS_OF_PART",
    "PRIORS",
    "SOFTWARE_PRIORS",
    "TRIED_BY_HAND",
    "UNKNOWN_PART",
    "SiteKind",
    "site_id",
    "starting_value",
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

ACTS_IN_A_WATCH = {SiteKind.LOOSE: 0.8}
"""The same where what it carries was watched for a minute or more: it need be away only once to be caught.

Elicited, no source, and for a unit that is left alone as well: nobody knows whether anything was moved.
"""

TRIED_BY_HAND = frozenset({"keyboard", "mouse", "pointing-device", "pointing-stick", "touchpad", "touchscreen"})
"""Functions of devices that a person can try, so that one that answers and does nothing shows in a capture."""

UNKNOWN_PART = "?"
"""Stands in ``Site.part`` for what no part of the profile is; no id has this form."""

KINDS_OF_PART = {
    PartKind.LINK: (SiteKind.OPEN, SiteKind.BROKEN, SiteKind.LOOSE),
    PartKind.SECTION: (SiteKind.SECTION,),
    PartKind.RAIL: (SiteKind.RAIL,),
    PartKind.SUBASSEMBLY: (SiteKind.WHOLE,),
}
"""How each kind of part fails."""


def site_id(kind: SiteKind, of: str) -> str:
    """The id of the site of one kind at one part or device.

    >>> site_id(SiteKind.DEAD, "keyboard")
    'dead:keyboard'
    """
    return f"{kind.value}:{of}"


_BY_FUNCTION = {
    SiteKind.SOFTWARE: SOFTWARE_PRIORS,
    SiteKind.HUNG: HUNG_PRIORS,
    SiteKind.DEAD: DEAD_PRIORS,
}


def starting_value(kind: SiteKind, function: str = "") -> float:
    """The elicited probability of this kind of failure, at a device of this function ("" for a part).

    >>> starting_value(SiteKind.DEAD, "keyboard")
    0.02

    Raises KeyError for a device that does not hang (``HUNG_PRIORS``).
    """
    own = _BY_FUNCTION.get(kind, {}).get(function)
    return PRIORS[kind] if own is None else own
