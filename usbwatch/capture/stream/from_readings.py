"""What readings and drivers come to: a supply or display that stands otherwise, a driver that let go or took hold."""

from __future__ import annotations

from dataclasses import replace
from typing import Tuple

from usbwatch.capture.stream.news import Driven, Seen, Stood
from usbwatch.capture.stream.state import Following, Step, back, event_at, gone, with_place
from usbwatch.model import Change, WatchEvent

__all__ = ["driven", "stood", "undriven"]


def stood(state: Following, news: Stood) -> Step:
    """How a supply or a display stands by a reading."""
    state, events = _read(state, news)
    return state, tuple(_of_mains(one) for one in events) if news.mains else events


def _of_mains(one: WatchEvent) -> WatchEvent:
    """The event of an adapter's detection, which is there with and without an adapter."""
    return replace(one, change=_MAINS.get(one.change, one.change))


_MAINS = {Change.GONE: Change.OFFLINE, Change.BACK: Change.ONLINE, Change.CAME: Change.ONLINE}


def _read(state: Following, news: Stood) -> Step:
    place = state.places.get((news.bus, news.location))
    seen = Seen(bus=news.bus, location=news.location, name=news.name, identity=news.identity)
    if not news.there:
        return gone(state, place, news.at_ms, owed=0) if place is not None and place.there else (state, ())
    events: Tuple[WatchEvent, ...] = ()
    if place is None or not place.there:
        state, events = back(state, seen, news.at_ms)
        place = replace(state.places[news.bus, news.location], read=True)
        state = with_place(state, place)
    if place.talks == news.talks:
        return state, events
    change = Change.TALKING if news.talks else Change.MUTE
    return with_place(state, replace(place, talks=news.talks)), (*events, event_at(news.at_ms, change, place.seen))


def driven(state: Following, news: Driven) -> Step:
    """A driver took a device or let it go; what let go is held back for a while."""
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
    return state, (event_at(news.at_ms, Change.BOUND, place.seen),) if whole else ()


def undriven(state: Following, news: Driven, now_ms: int) -> Step:
    """A driver has let go for good: one event for a device, however many of its interfaces lost theirs."""
    place = state.places[news.bus, news.location]
    first = not any(one[:2] == (news.bus, news.location) for one in state.undriven)
    state = replace(
        state,
        held=tuple(one for one in state.held if one is not news),
        undriven=state.undriven | {(news.bus, news.location, news.part)},
    )
    return state, (event_at(now_ms, Change.UNBOUND, place.seen),) if first else ()
