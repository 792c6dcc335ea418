"""What lines of the kernel's log come to, and over-current, of which a hub's own event tells as well."""

from __future__ import annotations

from dataclasses import replace
from typing import Callable, Dict

from usbwatch.capture.stream.news import Logged, LogWord, OverCurrent
from usbwatch.capture.stream.state import (
    Failing,
    Following,
    Step,
    at_port,
    but,
    event_at,
    gone,
    is_there,
    with_place,
)
from usbwatch.model import Change, WatchEvent

__all__ = ["PATIENCE_MS", "PROBING_MS", "logged", "over_current", "without_old_failures"]

PATIENCE_MS = 10_000
"""Attempts to enumerate that have failed for so long are told although the kernel goes on: a part that never answers
is given up only after a minute (5 s an attempt, USB_CTRL_GET_TIMEOUT in include/linux/usb.h)."""
_QUIET_MS = 20_000
"""So long after the last failure the attempts are over, although nothing says so: of a device that left in the middle
of them the kernel logs no more (``hub_port_connect`` in drivers/usb/core/hub.c gives up silently on ENOTCONN and
ENODEV). The lines of a part that never answers are 15 s apart: three tries of 5 s (``hub_port_init``; from memory)."""
_NEXT_ATTEMPT_MS = 5_000
"""A device found so soon after a failure is the kernel's next attempt at the same (PORT_INIT_TRIES)."""
_ONE_TROUBLE_MS = 3000
"""Over-current that hub and log tell of within this time is one: the log's line comes after the port's power was
off and on again (``port_event`` in drivers/usb/core/hub.c)."""
PROBING_MS = 2000
"""A reset so soon after an arrival is a driver's way to begin (usb-storage, uas); common practice, no source."""


def logged(state: Following, news: Logged) -> Step:
    """The state after a line of the log, and what it comes to."""
    return _LOGGED[news.word](state, news) if news.location else (state, ())


def over_current(state: Following, news: OverCurrent) -> Step:
    """A hub's own event of over-current."""
    return _overloaded(state, news.location, news.at_ms, 0)


def without_old_failures(state: Following, now_ms: int) -> Following:
    """The state without the attempts to enumerate that have ended in silence."""
    old = [location for location, one in state.failing.items() if now_ms - one.last_ms > _QUIET_MS]
    for location in old:
        state = replace(state, failing=but(state.failing, location))
    return state


def _overloaded(state: Following, location: str, at_ms: int, stamp_us: int) -> Step:
    """Over-current, told again after a while if it lasts: counted from when it was told, not from the latest news."""
    told_ms = state.over_current_ms.get(location)
    if told_ms is not None and at_ms - told_ms < _ONE_TROUBLE_MS:
        return state, ()
    state = replace(state, over_current_ms={**state.over_current_ms, location: at_ms})
    return state, (event_at(at_ms, Change.OVER_CURRENT, at_port(state, location), kernel_us=stamp_us),)


def _over_current(state: Following, news: Logged) -> Step:
    return _overloaded(state, news.location, news.at_ms, news.stamp_us)


def _gone(state: Following, news: Logged) -> Step:
    place = state.places.get(("usb", news.location))
    state = replace(state, failing=but(state.failing, news.location))
    if place is None:
        return state, ()
    if place.owed > 0:
        return with_place(state, replace(place, owed=place.owed - 1)), ()
    if not place.there:
        return state, ()
    return gone(state, place, news.at_ms, owed=place.owed - 1, kernel_us=news.stamp_us)


def _found(state: Following, news: Logged) -> Step:
    place = state.places.get(("usb", news.location))
    if place is not None and place.owed > 0:
        state = with_place(state, replace(place, owed=0))
    failing = state.failing.get(news.location)
    if failing is not None and news.at_ms - failing.last_ms > _NEXT_ATTEMPT_MS:
        state = replace(state, failing=but(state.failing, news.location))
    return replace(state, found_us={**state.found_us, news.location: news.stamp_us}), ()


def _named(state: Following, news: Logged) -> Step:
    return replace(state, names={**state.names, news.location: news.text}), ()


def _failure(state: Following, news: Logged) -> Step:
    """One more attempt failed. Of a device that is there it is a reset's, which the kernel tries again."""
    state = without_old_failures(state, news.at_ms)
    before = state.failing.get(news.location) or Failing(first_ms=news.at_ms, last_ms=news.at_ms)
    now = replace(before, last_ms=news.at_ms, errno=news.errno or before.errno, stamp_us=news.stamp_us)
    lasts = now.last_ms - now.first_ms >= PATIENCE_MS
    tell = lasts and not now.told and not is_there(state, news.location)
    now = replace(now, told=now.told or tell)
    state = replace(state, failing={**state.failing, news.location: now})
    return state, (_failed(state, news.location, now, news.at_ms),) if tell else ()


def _gave_up(state: Following, news: Logged) -> Step:
    trouble = state.failing.get(news.location) or Failing(first_ms=news.at_ms, last_ms=news.at_ms)
    state = replace(state, failing=but(state.failing, news.location))
    if trouble.told:
        return state, ()
    return state, (_failed(state, news.location, replace(trouble, stamp_us=news.stamp_us), news.at_ms),)


def _failed(state: Following, location: str, trouble: Failing, at_ms: int) -> WatchEvent:
    seen = replace(at_port(state, location), identity="")
    return event_at(at_ms, Change.FAILED, seen, errno=trouble.errno, kernel_us=trouble.stamp_us)


def _reset(state: Following, news: Logged) -> Step:
    place = state.places.get(("usb", news.location))
    state = replace(state, failing=but(state.failing, news.location))
    if place is None or not place.there or news.at_ms - place.since_ms < PROBING_MS:
        return state, ()
    return state, (event_at(news.at_ms, Change.RESET, place.seen, kernel_us=news.stamp_us),)


_LOGGED: Dict[LogWord, Callable[[Following, Logged], Step]] = {
    LogWord.GONE: _gone,
    LogWord.FOUND: _found,
    LogWord.NAMED: _named,
    LogWord.FAILURE: _failure,
    LogWord.GAVE_UP: _gave_up,
    LogWord.OVER_CURRENT: _over_current,
    LogWord.RESET: _reset,
}
