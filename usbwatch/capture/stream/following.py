"""What happenings come to: a state that they move on, and the events of a watch. No clock and no file here.

An event is a change of what is there, never a piece of news: a departure that
both the kernel's log and its event tell of is one event, and news that changes
nothing is none. Here are comings and goings, and looks; lines of the log are
in ``from_log``, readings and drivers in ``from_readings``.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Callable, Dict, Iterable, List, Mapping, Optional, Type

from usbwatch.capture.stream.from_log import PATIENCE_MS, PROBING_MS, logged, over_current, without_old_failures
from usbwatch.capture.stream.from_readings import driven, stood, undriven
from usbwatch.capture.stream.news import (
    Arrived,
    Departed,
    Driven,
    Happening,
    Logged,
    Looked,
    OverCurrent,
    Seen,
    Slept,
    Stood,
)
from usbwatch.capture.stream.state import Following, Key, Place, Step, back, gone, with_place
from usbwatch.model import WatchEvent

__all__ = ["BELIEVE_MS", "HOLD_MS", "LATE_MS", "PATIENCE_MS", "Following", "begun", "followed", "passed"]

HOLD_MS = 1000
"""A driver that lets go is told after this time, unless its device leaves or another takes it.

A departing device loses its drivers first (``usb_disconnect`` in drivers/usb/core/hub.c), and a reset can take a
driver off and on again (``usb_reset_device``)."""
LATE_MS = 1000
"""For so long after a look that told of an arrival, the kernel's events may still be of what was before the look: what
had been dropped is told by the look, and what was still on its way then comes after it."""
BELIEVE_MS = 5000
"""What the log said has left, and has the same entry still after this time, is there: a departure that was told late,
of an earlier stay. Taking a device down takes as long as its drivers do; that none takes longer has no source."""


def begun(there: Iterable[Seen], stood: Iterable[Stood] = (), peers: Optional[Mapping[str, str]] = None) -> Following:
    """The state at the beginning: what is there, how supplies and displays stand, which ports share a connector."""
    places = {(one.bus, one.location): Place(seen=one, there=True, since_ms=-PROBING_MS) for one in there}
    for one in stood:
        seen = Seen(bus=one.bus, location=one.location, name=one.name, identity=one.identity)
        if one.there:
            places[one.bus, one.location] = Place(seen=seen, there=True, since_ms=0, talks=one.talks, read=True)
    return Following(places=places, peers=dict(peers or {}))


def followed(state: Following, happening: Happening) -> Step:
    """The state after a happening, and what it comes to; nothing for dropped news."""
    step = _STEPS.get(type(happening))
    return step(state, happening) if step is not None else (state, ())


def passed(state: Following, now_ms: int) -> Step:
    """The state at a later moment: what was held back until it was certain is told."""
    state = without_old_failures(state, now_ms)
    events: List[WatchEvent] = []
    for one in state.held:
        if now_ms - one.at_ms >= HOLD_MS:
            state, told = undriven(state, one, now_ms)
            events += told
    for place in tuple(state.places.values()):
        if place.doubted_ms is not None and now_ms - place.doubted_ms >= LATE_MS:
            state, told = _left_unnoticed(state, place, now_ms, now_ms - place.doubted_ms)
            events += told
    return state, tuple(events)


def _arrived(state: Following, news: Arrived) -> Step:
    place = state.places.get((news.seen.bus, news.seen.location))
    if place is None or not place.there:
        return back(state, news.seen, news.at_ms)
    if not (place.seen.entry and news.seen.entry):
        return state, ()
    if news.seen.entry == place.seen.entry:  # told by a look before, and so is the departure that was in doubt
        return (with_place(state, replace(place, doubted_ms=None)) if place.doubted_ms is not None else state), ()
    since_ms = place.doubted_ms if place.doubted_ms is not None else max(0, place.since_ms)
    return _between(state, place, news.seen, news.at_ms, news.at_ms - since_ms)


def _departed(state: Following, news: Departed) -> Step:
    place = state.places.get((news.bus, news.location))
    if place is None:
        return state, ()
    if not place.there:
        return with_place(state, replace(place, owed=min(0, place.owed + 1))), ()
    if place.looked_ms is not None and news.at_ms - place.looked_ms < LATE_MS:
        return with_place(state, replace(place, doubted_ms=news.at_ms)), ()
    return gone(state, place, news.at_ms, owed=place.owed + 1)


def _left_unnoticed(state: Following, place: Place, at_ms: int, unseen_ms: int) -> Step:
    """It has left, which the kernel's event told and its log has not yet."""
    return gone(state, place, at_ms, owed=place.owed + 1, unseen_ms=unseen_ms)


def _between(state: Following, place: Place, seen: Seen, at_ms: int, unseen_ms: int) -> Step:
    """It left and came again, and nobody told of either."""
    state, left = gone(state, place, at_ms, owed=place.owed, unseen_ms=unseen_ms)
    state, came = back(state, seen, at_ms, unseen_ms)
    return state, (*left, *came)


def _looked(state: Following, news: Looked) -> Step:
    """What a look shows that nobody told of. What is on its way out may still be in its folder."""
    found = {(one.bus, one.location): one for one in news.seen}
    left = sorted(key for key, place in state.places.items() if place.there and not place.read and key not in found)
    events: List[WatchEvent] = []
    for key in left:
        state, told = gone(state, state.places[key], news.at_ms, owed=state.places[key].owed + 1)
        events += told
    for key, seen in sorted(found.items()):
        state, told = _found(state, state.places.get(key), seen, news)
        if told:
            state = _by_look(state, key, news.at_ms)
        events += told
    return state, tuple(events)


def _found(state: Following, place: Optional[Place], seen: Seen, news: Looked) -> Step:
    """What a look finds at one place."""
    if place is not None and seen.entry == place.seen.entry:
        return _found_again(state, place, news.at_ms)
    if place is None or not place.there:
        return back(state, seen, news.at_ms)
    if not place.seen.entry:
        return with_place(state, replace(place, seen=replace(place.seen, entry=seen.entry))), ()
    return _between(state, place, seen, news.at_ms, news.since_ms)


def _found_again(state: Following, place: Place, at_ms: int) -> Step:
    """The same stay: it has not left, or is on its way out."""
    if place.there:
        return (with_place(state, replace(place, doubted_ms=None)) if place.doubted_ms is not None else state), ()
    if not place.seen.entry or at_ms - place.since_ms < BELIEVE_MS:
        return state, ()
    return back(state, place.seen, at_ms, at_ms - place.since_ms)


def _by_look(state: Following, key: Key, at_ms: int) -> Following:
    """The state in which it is remembered that a look told of what is there."""
    return with_place(state, replace(state.places[key], looked_ms=at_ms))


def _slept(state: Following, news: Slept) -> Step:
    return replace(state, slept=(*state.slept, news.at_ms)), ()


_STEPS: Dict[Type[object], Callable[[Following, Any], Step]] = {
    Arrived: _arrived,
    Departed: _departed,
    Looked: _looked,
    Stood: stood,
    Driven: driven,
    OverCurrent: over_current,
    Logged: logged,
    Slept: _slept,
}
