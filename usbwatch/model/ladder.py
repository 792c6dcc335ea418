"""How far a device got, what a finding says, and whether a bus could be seen.

Every bus has its own ladder of states. usbwatch reads them into one scale,
with the standard's word where there is one (USB 2.0 table 9-1 gives
*attached*, *addressed* and *configured*).
"""

from __future__ import annotations

from enum import Enum

__all__ = ["CoverageState", "Rung", "Verdict"]


class Rung(Enum):
    """How far a device got, from nothing at all to doing its job."""

    ABSENT = "absent"
    """Nothing there."""
    ATTACHED = "attached"
    """Something pulls the line, or firmware says present; no answer."""
    ADDRESSED = "addressed"
    """It answers; its identity was not read."""
    IDENTIFIED = "identified"
    """Descriptors, PCI configuration or HID descriptor were read."""
    CONFIGURED = "configured"
    """It accepted a configuration; no driver holds it."""
    BOUND = "bound"
    """A driver holds it."""
    WORKING = "working"
    """Its function node exists and its data is plausible."""

    @property
    def height(self) -> int:
        """Steps above *absent*, 0 to 6."""
        return _HEIGHTS[self.value]

    def reaches(self, other: Rung) -> bool:
        """Whether this rung is ``other`` or above it."""
        return self.height >= other.height


_HEIGHTS = {rung.value: height for height, rung in enumerate(Rung)}


class Verdict(Enum):
    """What became of an expected device."""

    PRESENT = "present"
    """Working, or as far as the profile asks."""
    IMPAIRED = "impaired"
    """Got part of the way, or works wrongly."""
    MISSING = "missing"
    """Absent, and this capture could have seen it."""
    UNSEEN = "unseen"
    """This capture could not have seen it."""
    SUBSTITUTED = "substituted"
    """Another identity in its place."""
    MOVED = "moved"
    """The right identity in another location."""


class CoverageState(Enum):
    """Whether a bus was looked at, and if it could not be seen, why."""

    OK = "ok"
    """Looked at; something is on it."""
    EMPTY = "empty"
    """Looked at; the kernel knows the bus and nothing is on it."""
    NOT_PERMITTED = "not permitted"
    """The kernel refused."""
    NOT_THERE = "not there"
    """This kernel (or this copied tree) does not have the bus at all."""
    FAILED = "failed"
    """Reading broke off."""

    @property
    def seen(self) -> bool:
        """Whether the absence of a device on this bus means anything."""
        return self in (CoverageState.OK, CoverageState.EMPTY)
