"""What came and went while a unit was watched live, as a capture keeps it.

Made by ``usbwatch watch``. It speaks of nodes and places, never of a profile:
what an event means for an expected device is worked out from it anew each time.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Tuple

__all__ = ["GOOD", "Change", "Mark", "Watch", "WatchEvent"]


class Change(Enum):
    """What happened at one place."""

    GONE = "gone"
    """What was there has left."""
    BACK = "came back"
    """What had left during this watch is there again."""
    CAME = "came"
    """Something is there where nothing had been since the watch began."""
    SLOWER = "fell back"
    """It is linked at a lower speed than it was at before, in this watch."""
    FASTER = "up to speed"
    """It is linked at a higher speed than before."""
    FAILED = "failed to enumerate"
    """Something is connected there, and the kernel gave up making a device of it, or tried in vain for ten seconds."""
    OVER_CURRENT = "over-current"
    """The hub reports over-current at this port (USB 2.0 section 11.12.5)."""
    RESET = "reset"
    """The kernel reset it while it was in use, which it does when it stops answering."""
    UNBOUND = "lost its driver"
    BOUND = "driver holds it"
    MUTE = "stopped talking"
    """It is named as before, and its readings make no sense any more: a gauge that does not talk."""
    TALKING = "talks again"
    OFFLINE = "mains off"
    """The adapter's detection says that no mains comes from it: pulled on purpose, or a plug that loses contact."""
    ONLINE = "mains on"


GOOD = frozenset({Change.BACK, Change.CAME, Change.FASTER, Change.BOUND, Change.TALKING, Change.ONLINE})
"""Changes for the better: something is there, works or works faster than before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchEvent:
    """One change at one place, at the moment it was noticed."""

    at_ms: int
    """Milliseconds since the watch began."""
    change: Change
    bus: str
    """As in ``Node.bus``."""
    location: str
    """As in ``Node.location``; for a port without a device, that of the device that would sit there."""
    name: str = ""
    """What the node calls itself. Never trusted."""
    identity: str = ""
    away_ms: int = 0
    """``BACK``, ``ONLINE``: how long it had been gone."""
    unseen_ms: int = 0
    """Of an absence that fell between two looks: by how much ``at_ms`` may be late; 0 where the kernel told of it."""
    speed_kbps: int = 0
    """``CAME``, ``BACK``, ``SLOWER``, ``FASTER``: the speed it is linked at now; 0 where none is told."""
    was_kbps: int = 0
    """``SLOWER``, ``FASTER``: the speed before."""
    errno: int = 0
    """``FAILED``: the last error number that the kernel's log gives (negative), or 0."""
    kernel_us: int = 0
    """Stamp of the kernel's log line that tells of the same, or 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A moment that the person at the bench marked, and the words that were typed with it."""

    at_ms: int
    text: str = ""
    """Never trusted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """One stretch of time in which a unit was watched."""

    began_at: str
    """RFC 3339, UTC."""
    lasted_ms: int
    sources: Tuple[str, ...]
    """What told of events, sorted: ``kernel log``, ``looks``, ``readings``, ``uevents``."""
    limit_ms: int
    """An absence at least this long is seen for certain; a shorter one may pass, or be told as one with the next.

    Of what the kernel tells by itself; a battery or an adapter is read every two seconds.
    """
    watched: Tuple[str, ...]
    """Locations at which an absence would have been noticed, sorted: of what was there at first, and is expected."""
    events: Tuple[WatchEvent, ...] = ()
    """In the order in which they happened."""
    marks: Tuple[Mark, ...] = ()
    missed: int = 0
    """How many times the kernel said that it dropped news, so that events may be lacking."""
    slept: Tuple[int, ...] = ()
    """``at_ms`` of each moment at which the unit was found to have been suspended, and to go on.

    Suspended time does not count in any ``at_ms``. What leaves within a few seconds of such a moment may have lost its
    power by the suspension alone.
    """
