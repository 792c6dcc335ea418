"""What a live watch has to remember, and the two changes that all news comes down to: something left, or is there.

Two sources that both tell of each departure are held together by counting:
``Place.owed`` is how many departures the kernel's own events have told of that
its log has not yet, negative the other way round. In each source a departure
stands before the next arrival, so an arrival in one of them settles what the
other owed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import FrozenSet, Mapping, Optional, Tuple, TypeVar

from usbwatch.capture.stream.news import Driven, Seen
from usbwatch.model import Change, WatchEvent

__all__ = [
    "Failing",
    "Following",
    "Key",
    "Place",
    "Step",
    "at_port",
    "back",
    "but",
    "event_at",
    "gone",
    "is_there",
    "with_place",
]

Key = Tuple[str, str]
"""Bus and location."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What is known of one place."""

    seen: Seen
    """What is there, or was there last."""
    there: bool
    since_ms: int
    """Since when it is so."""
    owed: int = 0
    talks: bool = True
    read: bool = False
    """Whether it is known from readings, so that no look at the folders of the buses tells of it."""
    looked_ms: Optional[int] = None
    """When a look was the first to tell that this is there: the kernel's events may still tell of what was before."""
    doubted_ms: Optional[int] = None
    """When the kernel told of a departure that may be one from before that look."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failing:
    """Attempts to enumerate that failed, one after another."""

    first_ms: int
    last_ms: int
    errno: int = 0
    stamp_us: int = 0
    told: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Following:
    """Everything that the watch has to remember."""

    places: Mapping[Key, Place]
    peers: Mapping[str, str] = field(default_factory=dict)
    """By location of a USB port, that of the other half of its connector: USB 2 or SuperSpeed."""
    found_us: Mapping[str, int] = field(default_factory=dict)
    """By location, the stamp of the log's line about what is arriving there."""
    names: Mapping[str, str] = field(default_factory=dict)
    """By location, what the log says that it calls itself."""
    failing: Mapping[str, Failing] = field(default_factory=dict)
    over_current_ms: Mapping[str, int] = field(default_factory=dict)
    """By location, when over-current was told of last."""
    held: Tuple[Driven, ...] = ()
    """Drivers that let go, not yet told."""
    undriven: FrozenSet[Tuple[str, str, str]] = frozenset()
    """Bus, location and part of what lost its driver, as told."""
    slept: Tuple[int, ...] = ()
    """Moments at which the machine was found to have slept (``Watch.slept``)."""


Step = Tuple[Following, Tuple[WatchEvent, ...]]


def event_at(at_ms: int, change: Change, seen: Seen, **more: int) -> WatchEvent:
    """A change of what was seen."""
    return WatchEvent(
        at_ms=at_ms,
        change=change,
        bus=seen.bus,
        location=seen.location,
        name=seen.name,
        identity=seen.identity,
        **more,
    )


def with_place(state: Following, place: Place) -> Following:
    """The state with that place as it is now."""
    return replace(state, places={**state.places, (place.seen.bus, place.seen.location): place})


def is_there(state: Following, location: str) -> bool:
    """Whether a USB device is at a location."""
    place = state.places.get(("usb", location))
    return place is not None and place.there


def at_port(state: Following, location: str) -> Seen:
    """What is at a USB port, or was there last, or would sit there."""
    place = state.places.get(("usb", location))
    return place.seen if place is not None else Seen(bus="usb", location=location)


def gone(state: Following, place: Place, at_ms: int, *, owed: int, **more: int) -> Step:
    """What was there has left: of attempts to enumerate, drivers and doubts nothing is left either."""
    key = (place.seen.bus, place.seen.location)
    left = with_place(
        state, replace(place, there=False, since_ms=at_ms, owed=owed, talks=True, looked_ms=None, doubted_ms=None)
    )
    left = replace(
        left,
        held=tuple(one for one in left.held if (one.bus, one.location) != key),
        failing=but(left.failing, place.seen.location) if place.seen.bus == "usb" else left.failing,
        undriven=frozenset(one for one in left.undriven if one[:2] != key),
    )
    return left, (event_at(at_ms, Change.GONE, place.seen, **more),)


def back(state: Following, seen: Seen, at_ms: int, unseen_ms: int = 0) -> Step:
    """It is there, and had not been; with its speed if that is another than before."""
    before = state.places.get((seen.bus, seen.location))
    seen = replace(seen, name=_name(state, seen, before))
    stamp_us = state.found_us.get(seen.location, 0) if seen.bus == "usb" else 0
    more = {"speed_kbps": seen.speed_kbps, "kernel_us": stamp_us, "unseen_ms": unseen_ms}
    if before is None:
        events = [event_at(at_ms, Change.CAME, seen, **more)]
    else:
        events = [event_at(at_ms, Change.BACK, seen, away_ms=at_ms - before.since_ms, **more)]
    was = _speed_before(state, seen, before)
    if was and seen.speed_kbps and was != seen.speed_kbps:
        change = Change.SLOWER if seen.speed_kbps < was else Change.FASTER
        events.append(event_at(at_ms, change, seen, speed_kbps=seen.speed_kbps, was_kbps=was))
    owed = max(0, before.owed) if before is not None else 0
    state = with_place(state, Place(seen=seen, there=True, since_ms=at_ms, owed=owed))
    return _without_arrival(state, seen.location), tuple(events)


def _without_arrival(state: Following, location: str) -> Following:
    """What was remembered of an arrival that is now told."""
    return replace(
        state,
        found_us=but(state.found_us, location),
        names=but(state.names, location),
        failing=but(state.failing, location),
    )


_Any = TypeVar("_Any")


def but(known: Mapping[str, _Any], location: str) -> Mapping[str, _Any]:
    """What is known by location, without one of them; itself where that is not in it."""
    return {place: one for place, one in known.items() if place != location} if location in known else known


def _name(state: Following, seen: Seen, before: Optional[Place]) -> str:
    """What it calls itself: as told now, else as the log says, else as before if it says that it is the same."""
    known = seen.name or (state.names.get(seen.location, "") if seen.bus == "usb" else "")
    same = before is not None and (seen.identity == before.seen.identity or not seen.identity)
    return known or (before.seen.name if before is not None and same else "")


def _speed_before(state: Following, seen: Seen, before: Optional[Place]) -> int:
    """The speed at which it was linked before, here or at the other half of its connector; 0 where not known."""
    if before is not None:
        return before.seen.speed_kbps
    peer = state.places.get(("usb", state.peers.get(seen.location, "")))
    same = peer is not None and not peer.there and peer.seen.identity == seen.identity
    return peer.seen.speed_kbps if peer is not None and same else 0
