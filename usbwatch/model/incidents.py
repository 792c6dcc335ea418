"""What the events of a live watch come to: what went together, and how each expected device stands.

Worked out anew from a watch, a profile and the capture it began with (``usbwatch.compare.incidents``,
``usbwatch.compare.standing``); never stored.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Tuple

from usbwatch.model.watch import Change, WatchEvent

__all__ = ["Condition", "Incident", "Spell", "Standing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Incident:
    """Changes of one sort that came so close together that they are one thing that happened."""

    number: int
    """From 1, in the order in which they were told."""
    at_ms: int
    """When the first of them was noticed, in milliseconds since the watch began."""
    change: Change
    events: Tuple[WatchEvent, ...]
    """In the order in which they came; with those of an incident that is told anew."""
    devices: Tuple[str, ...] = ()
    """Ids of the expected devices concerned, in the profile's order; none for what the profile does not name."""
    head: str = ""
    """Location of the hub or controller that went and took the others along, or ""."""
    shared: Tuple[str, ...] = ()
    """Ids of what all that went needs and nothing that was seen to stay needs, nearest to the lost ones first.

    Links, rails, sections, and devices such as a hub. Empty where a single device went.
    """
    carrier: str = ""
    """Id of the expected device that carries the head, or a single device: the other end of its line."""
    own_link: str = ""
    """Of a single device: id of the nearest link that it needs, or ""."""
    stayed_on_link: Tuple[str, ...] = ()
    """Ids of the devices that need ``own_link``, too, and were seen to stay."""
    outside: bool = False
    """A helper device in a socket, not the unit's own."""
    unplaced: bool = False
    """Neither firmware nor profile says whether it is the unit's own."""
    instead_of: Tuple[int, ...] = ()
    """Numbers of incidents that had been told before the hub behind them was known to be gone; this one counts."""


class Condition(Enum):
    """How an expected device stands at a moment of a watch."""

    PRESENT = "present"
    GONE = "gone"
    SLOW = "slow"
    """Linked at a lower speed than it was at, or than the profile asks."""
    FAILED = "failed"
    """Connected, and it does not enumerate."""
    OVER_CURRENT = "over-current"
    MUTE = "mute"
    """Named by firmware, and its readings make no sense."""
    UNDRIVEN = "no driver"
    OFFLINE = "no mains"
    """A mains adapter that gives none; that is no fault by itself."""
    NOT_WATCHED = "not watched"
    """Whether it is there cannot be seen here. That is never "missing"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """One unbroken stretch of time in one condition."""

    condition: Condition
    from_ms: int
    to_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How one expected device stands, and how it has fared since the watch began."""

    device: str
    condition: Condition
    since_ms: int = 0
    """Since when it stands so; 0 for as long as the watch."""
    since_before: bool = False
    """It already stood so when the watch began; for how long is not known."""
    why: str = ""
    """For what is not watched: the reason, as one phrase."""
    times_gone: int = 0
    """How many times it went during the watch."""
    times_reset: int = 0
    longest_ms: int = 0
    """The longest absence of the watch, one that lasts still included."""
    absent_ms: int = 0
    """All its absences together, what was missing before the watch included as far as it lies in it."""
    per_minute: float = 0.0
    """Departures for each minute watched; 0 in a watch of less than a second."""
    spells: Tuple[Spell, ...] = ()
    """Without a gap from 0 to now."""
