"""What a live watch has of incidents that are not told yet, and how an event joins them: see ``incidents``.

First what joins what (``joined``), then hubs (``_as_head``), then what the event leaves behind (``moved``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from usbwatch.compare.scene import Placing, Scene
from usbwatch.compare.shared_parts import Wiring
from usbwatch.model import Change, Incident, WatchEvent, hangs_on
from usbwatch.model.watch import GOOD

__all__ = ["LONGEST_MS", "QUIET_MS", "TEARDOWN_MS", "TORN_DOWN", "Grouping", "Open", "joined", "moved"]

QUIET_MS = 100
"""What follows within this time belongs to the same incident. Common practice, no source: a person sees no gap."""
LONGEST_MS = 1_000
"""An incident in which one thing goes on following another is told after this time, whatever follows."""
TEARDOWN_MS = 2_000
"""How long what hangs on a hub may leave before or after it, and still counts as taken along by it."""

TORN_DOWN = frozenset({"usb", "pci"})
"""Buses on which what hangs on a device that left is taken down with it, and told of one by one."""
_ARRIVING = frozenset({Change.BACK, Change.CAME})


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """An incident that more may still belong to."""

    change: Change
    placing: Placing
    events: tuple[WatchEvent, ...]
    head: str = ""
    head_ms: int = 0
    awaited: frozenset[str] = frozenset()
    """Locations of what hangs on the head and has not left yet."""
    returned: frozenset[str] = frozenset()
    """Locations of what has come back since: no hub that leaves later took that departure along."""
    instead_of: tuple[int, ...] = ()
    first_ms: int
    last_ms: int

    @property
    def due_ms(self) -> int:
        """When it is told if nothing more comes."""
        if self.awaited:
            return max(self.head_ms + TEARDOWN_MS, self.last_ms + QUIET_MS)
        longest = self.head_ms + TEARDOWN_MS if self.head else self.first_ms
        return min(self.last_ms + QUIET_MS, longest + LONGEST_MS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """What has come and not been told, and what must be known to tell it."""

    seen: Scene
    wires: Wiring
    places: dict[str, tuple[str, ...]]
    """Ids of the expected devices at each location."""
    prompt: frozenset[str]
    """Devices whose departure is known at once."""
    there: frozenset[str]
    """Locations of the USB and PCI devices that are there now."""
    away: frozenset[str] = frozenset()
    """Expected devices that are not well now; they prove nothing about what the others need."""
    open: tuple[Open, ...] = ()
    ready: tuple[Incident, ...] = ()
    recent: tuple[Incident, ...] = ()
    """Departures that were told, and that a hub may still turn out to be the cause of."""
    count: int = 0
    now_ms: int = 0
    """The latest moment known of."""


def joined(state: Grouping, event: WatchEvent, at_ms: int) -> Grouping:
    """The state with the event in the open incident that it belongs to, or in one of its own."""
    behind = frozenset(place for place in state.there if hangs_on(place, event.location))
    if event.change is Change.GONE and (behind or _went_behind(state, event.location)):
        return _as_head(state, event, at_ms, behind)
    placing = _placing(event, state)
    for one in state.open:
        if _belongs(event, placing, at_ms, one):
            fuller = replace(one, events=(*one.events, event), last_ms=at_ms, awaited=one.awaited - {event.location})
            return replace(state, open=tuple(fuller if other is one else other for other in state.open))
    return replace(state, open=(*state.open, _alone(event, placing, at_ms)))


def _alone(event: WatchEvent, placing: Placing, at_ms: int) -> Open:
    return Open(change=event.change, placing=placing, events=(event,), first_ms=at_ms, last_ms=at_ms)


def _belongs(event: WatchEvent, placing: Placing, at_ms: int, one: Open) -> bool:
    if event.change is not one.change or event.location in {other.location for other in one.events}:
        return False
    at_once = at_ms < one.last_ms + QUIET_MS  # one that waits for what hangs on its hub is no net for all else
    taken_along = one.head not in ("", *one.returned) and hangs_on(event.location, one.head)
    return (placing is one.placing and at_once) or taken_along


def _placing(event: WatchEvent, state: Grouping) -> Placing:
    if event.location in state.places:
        return Placing.INSIDE
    return state.seen.placing_of_change(event.bus, event.location)


def _went_behind(state: Grouping, head: str) -> bool:
    """Whether something that hangs on ``head`` has left within the time that a teardown may take, and stayed away."""
    gone = (
        *(event for one in state.open for event in one.events if event.location not in one.returned),
        *(event for one in state.recent for event in one.events),
    )
    return any(_taken_along(event, head, state) for event in gone)


def _as_head(state: Grouping, event: WatchEvent, at_ms: int, behind: frozenset[str]) -> Grouping:
    """The event as that of a hub, with all that left from behind it before, and awaiting the rest."""
    placing = _placing(event, state)
    before: list[WatchEvent] = []
    kept: list[Open] = []
    instead_of: list[int] = []
    for one in state.open:
        mine = [
            old for old in one.events if old.location not in one.returned and _taken_along(old, event.location, state)
        ]
        left = tuple(old for old in one.events if old not in mine)
        # A hub behind this one, or parts that open along with this hub: all of that incident is this one's.
        whole = one.change is Change.GONE and one.placing is placing and not one.returned
        before += one.events if whole else mine
        instead_of += one.instead_of if whole or not left else ()
        if left and not whole:
            kept.append(replace(one, events=left))
    for told in state.recent:
        if told.number not in instead_of and all(_taken_along(old, event.location, state) for old in told.events):
            before += told.events
            instead_of += [told.number, *told.instead_of]
    events = (*sorted(before, key=lambda old: old.at_ms), event)
    head = Open(
        change=Change.GONE,
        placing=placing,
        events=events,
        head=event.location,
        head_ms=at_ms,
        awaited=behind,
        instead_of=tuple(sorted(set(instead_of))),
        first_ms=min(events[0].at_ms, at_ms),
        last_ms=at_ms,
    )
    # What this one tells again is its own from now on, also when it has come back before the next one leaves.
    recent = tuple(told for told in state.recent if told.number not in instead_of)
    return replace(state, open=(*kept, head), recent=recent)


def _taken_along(old: WatchEvent, head: str, state: Grouping) -> bool:
    return old.change is Change.GONE and hangs_on(old.location, head) and old.location not in state.there


def moved(state: Grouping, event: WatchEvent) -> Grouping:
    """The state with what is there and what is away as the event leaves it."""
    here = frozenset(state.places.get(event.location, ()))
    there = state.there
    if event.change is Change.GONE:
        there = there - {event.location}
    elif event.change in _ARRIVING:
        there = there | {event.location} if event.bus in TORN_DOWN else there
        state = _come_back(state, event.location)
    away = state.away - here if event.change in GOOD else state.away | here
    if event.change is Change.RESET:  # it answers again when that is told
        away = state.away
    return replace(state, there=there, away=away)


def _come_back(state: Grouping, place: str) -> Grouping:
    """The state in which the departures from ``place`` until now are no hub's any more, nor what it took along."""
    return replace(
        state,
        open=tuple(_with_return(one, place) for one in state.open),
        recent=tuple(one for one in state.recent if place not in {event.location for event in one.events}),
    )


def _with_return(one: Open, place: str) -> Open:
    places = {event.location for event in one.events}
    back = places if place == one.head else places & {place}
    return replace(one, returned=one.returned | back)
