"""What happenings come to: a state that they move on, and the events of a watch. No clock and no file here.

An event is a change of what is there, never a piece of news: a departure that
both the kernel's log and its event tell of is one event, and news that changes
nothing is none. Two sources that both tell of each departure are held
together by counting: ``_Place.owed`` is how many departures the kernel's own
events have told of that its log has not yet, negative the other way round. In
each source a departure stands before the next arrival, so an arrival in one
of them settles what the other owed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Callable, Dict, FrozenSet, Iterable, List, Mapping, Optional, Tuple, Type

from usbwatch.capture.stream.news import (
    Arrived,
    Departed,
    Driven,
    Happening,
    Logged,
    LogWord,
    Looked,
    OverCurrent,
    Seen,
    Stood,
)
from usbwatch.model import Change, WatchEvent

__all__ = ["HOLD_MS", "PATIENCE_MS", "Following", "begun", "followed", "passed"]

HOLD_MS = 1000
"""A driver that lets go is told after this time, unless its device leaves or another takes it.

A departing device loses its drivers first (``usb_disconnect`` in drivers/usb/core/hub.c), and a reset can take a
driver off and on again (``usb_reset_device``)."""
PATIENCE_MS = 10_000
"""Attempts to enumerate that have failed for so long are told although the kernel goes on: a part that never answers
is given up only after a minute (5 s an attempt, USB_CTRL_GET_TIMEOUT in include/linux/usb.h)."""
_ONE_TROUBLE_MS = 3000
"""Over-current that hub and log tell of within this time is one: the log's line comes after the port's power was
off and on again (``port_event`` in drivers/usb/core/hub.c)."""
_PROBING_MS = 2000
"""A reset so soon after an arrival is a driver's way to begin (usb-storage, uas); common practice, no source."""

_Key = Tuple[str, str]
"""Bus and location."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Failing:
    """Attempts to enumerate that failed."""

    first_ms: int
    errno: int
    stamp_us: int
    told: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Following:
    """Everything that the watch has to remember."""

    places: Mapping[_Key, _Place]
    peers: Mapping[str, str] = field(default_factory=dict)
    """By location of a USB port, that of the other half of its connector: USB 2 or SuperSpeed."""
    found_us: Mapping[str, int] = field(default_factory=dict)
    """By location, the stamp of the log's line about what is arriving there."""
    names: Mapping[str, str] = field(default_factory=dict)
    """By location, what the log says that it calls itself."""
    failing: Mapping[str, _Failing] = field(default_factory=dict)
    over_current_ms: Mapping[str, int] = field(default_factory=dict)
    held: Tuple[Driven, ...] = ()
    """Drivers that let go, not yet told."""
    undriven: FrozenSet[Tuple[str, str, str]] = frozenset()
    """Bus, location and part of what lost its driver, as told."""


_Step = Tuple[Following, Tuple[WatchEvent, ...]]


def begun(there: Iterable[Seen], stood: Iterable[Stood] = (), peers: Optional[Mapping[str, str]] = None) -> Following:
    """The state at the beginning: what is there, how supplies and displays stand, which ports share a connector."""
    places = {(one.bus, one.location): _Place(seen=one, there=True, since_ms=-_PROBING_MS) for one in there}
    for one in stood:
        seen = Seen(bus=one.bus, location=one.location, name=one.name, identity=one.identity)
        if one.there:
            places[one.bus, one.location] = _Place(seen=seen, there=True, since_ms=0, talks=one.talks, read=True)
    return Following(places=places, peers=dict(peers or {}))


def followed(state: Following, happening: Happening) -> _Step:
    """The state after a happening, and what it comes to; nothing for dropped news."""
    step = _STEPS.get(type(happening))
    return step(state, happening) if step is not None else (state, ())


def passed(state: Following, now_ms: int) -> _Step:
    """The state at a later moment: what was held back until it was certain is told."""
    events: List[WatchEvent] = []
    for one in state.held:
        if now_ms - one.at_ms >= HOLD_MS:
            state, told = _undriven(state, one, now_ms)
            events += told
    for location, trouble in state.failing.items():
        there = ("usb", location) in state.places and state.places["usb", location].there
        if not (trouble.told or there) and now_ms - trouble.first_ms >= PATIENCE_MS:
            state = replace(state, failing={**state.failing, location: replace(trouble, told=True)})
            events.append(_failed(state, location, trouble, now_ms))
    return state, tuple(events)


def _event(at_ms: int, change: Change, seen: Seen, **more: int) -> WatchEvent:
    return WatchEvent(
        at_ms=at_ms,
        change=change,
        bus=seen.bus,
        location=seen.location,
        name=seen.name,
        identity=seen.identity,
        **more,
    )


def _with(state: Following, place: _Place) -> Following:
    return replace(state, places={**state.places, (place.seen.bus, place.seen.location): place})


# Coming and going


def _arrived(state: Following, news: Arrived) -> _Step:
    place = state.places.get((news.seen.bus, news.seen.location))
    if place is None or not place.there:
        return _back(state, news.seen, news.at_ms)
    if place.seen.entry and news.seen.entry and news.seen.entry != place.seen.entry:
        return _between(state, place, news.seen, news.at_ms, news.at_ms - max(0, place.since_ms))
    return state, ()


def _departed(state: Following, news: Departed) -> _Step:
    place = state.places.get((news.bus, news.location))
    if place is None:
        return state, ()
    if place.there:
        return _gone(state, place, news.at_ms, owed=place.owed + 1)
    return _with(state, replace(place, owed=min(0, place.owed + 1))), ()


def _gone(state: Following, place: _Place, at_ms: int, *, owed: int, **more: int) -> _Step:
    key = (place.seen.bus, place.seen.location)
    left = _with(state, replace(place, there=False, since_ms=at_ms, owed=owed, talks=True))
    left = replace(
        left,
        held=tuple(one for one in left.held if (one.bus, one.location) != key),
        undriven=frozenset(one for one in left.undriven if one[:2] != key),
    )
    return left, (_event(at_ms, Change.GONE, place.seen, **more),)


def _back(state: Following, seen: Seen, at_ms: int, unseen_ms: int = 0) -> _Step:
    """It is there, and had not been."""
    before = state.places.get((seen.bus, seen.location))
    seen = replace(seen, name=_name(state, seen, before))
    stamp_us = state.found_us.get(seen.location, 0) if seen.bus == "usb" else 0
    more = {"speed_kbps": seen.speed_kbps, "kernel_us": stamp_us, "unseen_ms": unseen_ms}
    if before is None:
        events = [_event(at_ms, Change.CAME, seen, **more)]
    else:
        events = [_event(at_ms, Change.BACK, seen, away_ms=at_ms - before.since_ms, **more)]
    was = _speed_before(state, seen, before)
    if was and seen.speed_kbps and was != seen.speed_kbps:
        change = Change.SLOWER if seen.speed_kbps < was else Change.FASTER
        events.append(_event(at_ms, change, seen, speed_kbps=seen.speed_kbps, was_kbps=was))
    owed = max(0, before.owed) if before is not None else 0
    state = _with(state, _Place(seen=seen, there=True, since_ms=at_ms, owed=owed))
    return _without_arrival(state, seen.location), tuple(events)


def _without_arrival(state: Following, location: str) -> Following:
    """What was remembered of an arrival that is now told."""
    return replace(
        state,
        found_us={place: stamp for place, stamp in state.found_us.items() if place != location},
        names={place: name for place, name in state.names.items() if place != location},
        failing={place: one for place, one in state.failing.items() if place != location},
    )


def _name(state: Following, seen: Seen, before: Optional[_Place]) -> str:
    """What it calls itself: as told now, else as the log says, else as before if it says that it is the same."""
    known = seen.name or (state.names.get(seen.location, "") if seen.bus == "usb" else "")
    same = before is not None and (seen.identity == before.seen.identity or not seen.identity)
    return known or (before.seen.name if before is not None and same else "")


def _speed_before(state: Following, seen: Seen, before: Optional[_Place]) -> int:
    """The speed at which it was linked before, here or at the other half of its connector; 0 where not known."""
    if before is not None:
        return before.seen.speed_kbps
    peer = state.places.get(("usb", state.peers.get(seen.location, "")))
    same = peer is not None and not peer.there and peer.seen.identity == seen.identity
    return peer.seen.speed_kbps if peer is not None and same else 0


def _between(state: Following, place: _Place, seen: Seen, at_ms: int, unseen_ms: int) -> _Step:
    """It left and came again, and nobody told of either."""
    state, gone = _gone(state, place, at_ms, owed=place.owed, unseen_ms=unseen_ms)
    state, back = _back(state, seen, at_ms, unseen_ms)
    return state, (*gone, *back)


def _looked(state: Following, news: Looked) -> _Step:
    """What a look shows that nobody told of. What is on its way out may still be in its folder."""
    found = {(one.bus, one.location): one for one in news.seen}
    left = sorted(key for key, place in state.places.items() if place.there and not place.read and key not in found)
    events: List[WatchEvent] = []
    for key in left:
        state, told = _gone(state, state.places[key], news.at_ms, owed=state.places[key].owed + 1)
        events += told
    for key, seen in sorted(found.items()):
        place = state.places.get(key)
        if place is not None and seen.entry == place.seen.entry:
            continue
        if place is None or not place.there:
            state, told = _back(state, seen, news.at_ms)
        elif not place.seen.entry:
            state, told = _with(state, replace(place, seen=replace(place.seen, entry=seen.entry))), ()
        else:
            state, told = _between(state, place, seen, news.at_ms, news.since_ms)
        events += told
    return state, tuple(events)


# Readings, drivers, ports


def _stood(state: Following, news: Stood) -> _Step:
    state, events = _read(state, news)
    return state, tuple(_of_mains(event) for event in events) if news.mains else events


def _of_mains(event: WatchEvent) -> WatchEvent:
    """The event of an adapter's detection, which is there with and without an adapter."""
    return replace(event, change=_MAINS.get(event.change, event.change))


_MAINS = {Change.GONE: Change.OFFLINE, Change.BACK: Change.ONLINE, Change.CAME: Change.ONLINE}


def _read(state: Following, news: Stood) -> _Step:
    place = state.places.get((news.bus, news.location))
    seen = Seen(bus=news.bus, location=news.location, name=news.name, identity=news.identity)
    if not news.there:
        return _gone(state, place, news.at_ms, owed=0) if place is not None and place.there else (state, ())
    events: Tuple[WatchEvent, ...] = ()
    if place is None or not place.there:
        state, events = _back(state, seen, news.at_ms)
        place = replace(state.places[news.bus, news.location], read=True)
        state = _with(state, place)
    if place.talks == news.talks:
        return state, events
    change = Change.TALKING if news.talks else Change.MUTE
    return _with(state, replace(place, talks=news.talks)), (*events, _event(news.at_ms, change, place.seen))


def _driven(state: Following, news: Driven) -> _Step:
    place = state.places.get((news.bus, news.location))
    if place is None or not place.there:
        return state, ()
    part = (news.bus, news.location, news.part)
    others = tuple(one for one in state.held if (one.bus, one.location, one.part) != part)
    if not news.driver:
        held = others if part in state.undriven else (*others, news)
        return replace(state, held=held), ()
    state = replace(state, held=others)
    if part not in state.undriven:
        return state, ()
    state = replace(state, undriven=state.undriven - {part})
    whole = not any(one[:2] == part[:2] for one in state.undriven)
    return state, (_event(news.at_ms, Change.BOUND, place.seen),) if whole else ()


def _undriven(state: Following, news: Driven, now_ms: int) -> _Step:
    """A driver has let go for good: one event for a device, however many of its interfaces lost theirs."""
    place = state.places[news.bus, news.location]
    first = not any(one[:2] == (news.bus, news.location) for one in state.undriven)
    state = replace(
        state,
        held=tuple(one for one in state.held if one is not news),
        undriven=state.undriven | {(news.bus, news.location, news.part)},
    )
    return state, (_event(now_ms, Change.UNBOUND, place.seen),) if first else ()


def _over_current(state: Following, news: OverCurrent) -> _Step:
    return _overloaded(state, news.location, news.at_ms, 0)


def _overloaded(state: Following, location: str, at_ms: int, stamp_us: int) -> _Step:
    last = state.over_current_ms.get(location)
    state = replace(state, over_current_ms={**state.over_current_ms, location: at_ms})
    if last is not None and at_ms - last < _ONE_TROUBLE_MS:
        return state, ()
    return state, (_event(at_ms, Change.OVER_CURRENT, _at_port(state, location), kernel_us=stamp_us),)


def _at_port(state: Following, location: str) -> Seen:
    """What is at a USB port, or was there last, or would sit there."""
    place = state.places.get(("usb", location))
    return place.seen if place is not None else Seen(bus="usb", location=location)


# The kernel's log


def _logged(state: Following, news: Logged) -> _Step:
    return _LOGGED[news.word](state, news) if news.location else (state, ())


def _logged_gone(state: Following, news: Logged) -> _Step:
    place = state.places.get(("usb", news.location))
    if place is None:
        return state, ()
    if place.owed > 0:
        return _with(state, replace(place, owed=place.owed - 1)), ()
    if not place.there:
        return state, ()
    return _gone(state, place, news.at_ms, owed=place.owed - 1, kernel_us=news.stamp_us)


def _logged_found(state: Following, news: Logged) -> _Step:
    place = state.places.get(("usb", news.location))
    if place is not None and place.owed > 0:
        state = _with(state, replace(place, owed=0))
    failing = {location: one for location, one in state.failing.items() if location != news.location}
    return replace(state, found_us={**state.found_us, news.location: news.stamp_us}, failing=failing), ()


def _logged_name(state: Following, news: Logged) -> _Step:
    return replace(state, names={**state.names, news.location: news.text}), ()


def _logged_over_current(state: Following, news: Logged) -> _Step:
    return _overloaded(state, news.location, news.at_ms, news.stamp_us)


def _logged_failure(state: Following, news: Logged) -> _Step:
    before = state.failing.get(news.location)
    now = _Failing(
        first_ms=before.first_ms if before is not None else news.at_ms,
        errno=news.errno or (before.errno if before is not None else 0),
        stamp_us=news.stamp_us,
        told=before is not None and before.told,
    )
    return replace(state, failing={**state.failing, news.location: now}), ()


def _gave_up(state: Following, news: Logged) -> _Step:
    trouble = state.failing.get(news.location) or _Failing(first_ms=news.at_ms, errno=0, stamp_us=0)
    failing = {location: one for location, one in state.failing.items() if location != news.location}
    state = replace(state, failing=failing)
    if trouble.told:
        return state, ()
    return state, (_failed(state, news.location, replace(trouble, stamp_us=news.stamp_us), news.at_ms),)


def _failed(state: Following, location: str, trouble: _Failing, at_ms: int) -> WatchEvent:
    seen = replace(_at_port(state, location), identity="")
    return _event(at_ms, Change.FAILED, seen, errno=trouble.errno, kernel_us=trouble.stamp_us)


def _reset(state: Following, news: Logged) -> _Step:
    place = state.places.get(("usb", news.location))
    if place is None or not place.there or news.at_ms - place.since_ms < _PROBING_MS:
        return state, ()
    return state, (_event(news.at_ms, Change.RESET, place.seen, kernel_us=news.stamp_us),)


_LOGGED: Dict[LogWord, Callable[[Following, Logged], _Step]] = {
    LogWord.GONE: _logged_gone,
    LogWord.FOUND: _logged_found,
    LogWord.NAMED: _logged_name,
    LogWord.FAILURE: _logged_failure,
    LogWord.GAVE_UP: _gave_up,
    LogWord.OVER_CURRENT: _logged_over_current,
    LogWord.RESET: _reset,
}

_STEPS: Dict[Type[object], Callable[[Following, Any], _Step]] = {
    Arrived: _arrived,
    Departed: _departed,
    Looked: _looked,
    Stood: _stood,
    Driven: _driven,
    OverCurrent: _over_current,
    Logged: _logged,
}
