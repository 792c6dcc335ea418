"""What the sources of a live watch tell, as values: what happened, at which place, when it was noticed.

A place is named by bus and location as in a capture; the folders of sysfs,
which hold bus numbers, stay with the source that knows them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Tuple, Union

__all__ = [
    "Arrived",
    "Departed",
    "Driven",
    "Dropped",
    "Happening",
    "LogWord",
    "Logged",
    "Looked",
    "OverCurrent",
    "Seen",
    "Slept",
    "Stood",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One device that is there."""

    bus: str
    location: str
    name: str = ""
    identity: str = ""
    speed_kbps: int = 0
    entry: int = 0
    """Number of its entry in sysfs, 0 where not known: another number at the same place is another stay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrived:
    """The kernel told that a device is there."""

    at_ms: int
    seen: Seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Departed:
    """The kernel told that a device has left."""

    at_ms: int
    bus: str
    location: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """All devices that a look at the folders of the buses found."""

    at_ms: int
    seen: Tuple[Seen, ...]
    since_ms: int
    """How long ago the look before was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Driven:
    """A driver took a device, or one interface of it, or let it go."""

    at_ms: int
    bus: str
    location: str
    """Of the device."""
    part: str
    """What of it: the interface's name, "" for the device itself."""
    driver: str
    """"" when it let go."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stood:
    """How a battery, a mains adapter or a display connector stood when it was read."""

    at_ms: int
    bus: str
    location: str
    name: str = ""
    identity: str = ""
    there: bool
    """A pack in its bay, mains on the adapter, a display on the connector."""
    talks: bool = True
    """Whether its readings make sense (``usbwatch.capture.power_supply.gauge_talks``)."""
    mains: bool = False
    """It is a mains adapter's detection, which stays when the adapter is pulled."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OverCurrent:
    """A hub's own event told of over-current at one of its ports."""

    at_ms: int
    location: str


class LogWord(Enum):
    """What a line of the kernel's log tells of a USB device or port."""

    GONE = "disconnected"
    FOUND = "found"
    NAMED = "named"
    FAILURE = "an attempt failed"
    GAVE_UP = "given up"
    OVER_CURRENT = "over-current"
    RESET = "reset"


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """One line of the kernel's log."""

    at_ms: int
    word: LogWord
    location: str
    stamp_us: int = 0
    errno: int = 0
    text: str = ""
    """``NAMED``: what the device calls itself. Never trusted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """The kernel said that it dropped news."""

    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Slept:
    """The machine was suspended, and goes on since."""

    at_ms: int
    """When that was noticed."""
    asleep_ms: int


Happening = Union[Arrived, Departed, Looked, Driven, Stood, OverCurrent, Logged, Slept, Dropped]
