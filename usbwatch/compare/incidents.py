"""Which events of a live watch are one thing that happened.

A flex that opens takes all that it carries within moments. So changes of one
sort that follow each other within ``QUIET_MS`` are one incident, told when
nothing has followed for that long.

A hub that leaves takes all behind it along, and how long that lasts is the
kernel's affair: ``usb_disconnect`` (drivers/usb/core/hub.c) first logs the
hub's departure, then takes the devices behind it down one after another,
waiting for the driver of each, and only then removes the hub itself. So the
devices may be told of before the hub (uevents) or after it (the log). What
is still to come is waited for, up to ``TEARDOWN_MS``; what had been told of
already is told again, as part of the hub's departure.

A state that events move on, and functions; no clock here. What comes out does
not depend on how often ``due`` is asked in between.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from usbwatch.compare.findings import findings as compared
from usbwatch.compare.scene import Placing, Scene, scene
from usbwatch.compare.shared_parts import Wiring, carrier_of, own_link, shared, tells_at_once, wiring
from usbwatch.compare.twins import twins_of
from usbwatch.model import (
    Capture,
    Change,
    Findings,
    Incident,
    Kind,
    Node,
    Profile,
    Rung,
    Watch,
    WatchEvent,
    hangs_on,
)

__all__ = [
    "LONGEST_MS",
    "QUIET_MS",
    "TEARDOWN_MS",
    "Grouping",
    "begun",
    "due",
    "incidents",
    "next_due_ms",
    "standing_for",
    "taken",
    "told_once",
]

QUIET_MS = 100
"""What follows within this time belongs to the same incident. Common practice, no source: a person sees no gap."""
LONGEST_MS = 1_000
"""An incident in which one thing goes on following another is told after this time, whatever follows."""
TEARDOWN_MS = 2_000
"""How long what hangs on a hub may leave before or after it, and still counts as taken along by it."""

_TORN_DOWN = frozenset({"usb", "pci"})
"""Buses on which what hangs on a device that left is taken down with it, and told of one by one."""
_ARRIVING = frozenset({Change.BACK, Change.CAME})
_GOOD = frozenset({Change.BACK, Change.CAME, Change.FASTER, Change.BOUND, Change.TALKING, Change.ONLINE})


@dataclass(frozen=True, slots=True, kw_only=True)
class _Open:
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
    open: tuple[_Open, ...] = ()
    ready: tuple[Incident, ...] = ()
    recent: tuple[Incident, ...] = ()
    """Departures that were told, and that a hub may still turn out to be the cause of."""
    count: int = 0
    now_ms: int = 0
    """The latest moment known of."""


def begun(capture: Capture, findings: Findings, profile: Profile) -> Grouping:
    """The state at the beginning of a watch, from the capture it began with."""
    wires = wiring(profile, findings.findings)
    by_id = {finding.device: finding for finding in findings.findings}
    seen = scene(capture, profile)
    return Grouping(
        seen=seen,
        wires=wires,
        places=standing_for(findings, profile, seen.ports),
        prompt=frozenset(one for one, device in wires.devices.items() if tells_at_once(device, by_id[one])),
        there=frozenset(
            node.location
            for node in capture.nodes
            if node.bus in _TORN_DOWN and node.kind is Kind.DEVICE and node.rung is not Rung.ABSENT
        ),
    )


def standing_for(
    findings: Findings, profile: Profile, ports: Mapping[str, Node] | None = None
) -> dict[str, tuple[str, ...]]:
    """By location: ids of the expected devices that something there stands for, in the profile's order.

    With the capture's USB ports the other halves of their connectors count, too:
    a device that lost its SuperSpeed lines shows there.
    """
    devices = {device.id: device for device in profile.devices}
    places: dict[str, tuple[str, ...]] = {}
    for finding in findings.findings:
        here = [finding.node.location] if finding.node is not None else []
        device = devices[finding.device]
        for place in dict.fromkeys([*here, *device.locations, *twins_of(device, ports or {})]):
            places[place] = (*places.get(place, ()), finding.device)
    return places


def taken(state: Grouping, event: WatchEvent) -> Grouping:
    """The state after one more event. An event that is late counts as of the latest moment known of."""
    at_ms = max(event.at_ms, state.now_ms)
    state = _told(state, at_ms)
    state = _joined(state, event, at_ms)
    return _moved(state, event)


def due(state: Grouping, now_ms: int) -> tuple[Grouping, tuple[Incident, ...]]:
    """The state at a moment, and the incidents that can be told by then, in order."""
    state = _told(state, max(now_ms, state.now_ms))
    return replace(state, ready=()), state.ready


def next_due_ms(state: Grouping) -> int | None:
    """When the next incident can be told if nothing more comes; None while there is none to tell."""
    if state.ready:
        return state.now_ms
    return min((one.due_ms for one in state.open), default=None)


def incidents(watch: Watch, capture: Capture, profile: Profile) -> tuple[Incident, ...]:
    """All incidents of a watch, from the capture that it belongs to: the same ones that were told while it lasted."""
    state = begun(capture, compared(capture, profile), profile)
    for event in watch.events:
        state = taken(state, event)
    end_ms = max([watch.lasted_ms, *(one.due_ms for one in state.open)])
    return due(state, end_ms)[1]


def told_once(told: tuple[Incident, ...]) -> tuple[Incident, ...]:
    """The incidents without those that a later one tells anew."""
    replaced = {number for one in told for number in one.instead_of}
    return tuple(one for one in told if one.number not in replaced)


def _told(state: Grouping, now_ms: int) -> Grouping:
    """The state with every incident closed that is due by ``now_ms``."""
    for one in sorted((one for one in state.open if one.due_ms <= now_ms), key=lambda one: (one.due_ms, one.first_ms)):
        incident = _incident(one, state)
        departed = (incident,) if one.change is Change.GONE else ()
        state = replace(
            state,
            open=tuple(other for other in state.open if other is not one),
            ready=(*state.ready, incident),
            recent=(*(old for old in state.recent if old.number not in one.instead_of), *departed),
            count=incident.number,
        )
    recent = tuple(one for one in state.recent if one.events[-1].at_ms + TEARDOWN_MS >= now_ms)
    return replace(state, recent=recent, now_ms=now_ms)


def _joined(state: Grouping, event: WatchEvent, at_ms: int) -> Grouping:
    """The event in the open incident that it belongs to, or in one of its own."""
    behind = frozenset(place for place in state.there if hangs_on(place, event.location))
    if event.change is Change.GONE and (behind or _went_behind(state, event.location)):
        return _as_head(state, event, at_ms, behind)
    placing = _placing(event, state)
    for one in state.open:
        if _belongs(event, placing, at_ms, one):
            fuller = replace(one, events=(*one.events, event), last_ms=at_ms, awaited=one.awaited - {event.location})
            return replace(state, open=tuple(fuller if other is one else other for other in state.open))
    return replace(state, open=(*state.open, _alone(event, placing, at_ms)))


def _alone(event: WatchEvent, placing: Placing, at_ms: int) -> _Open:
    return _Open(change=event.change, placing=placing, events=(event,), first_ms=at_ms, last_ms=at_ms)


def _belongs(event: WatchEvent, placing: Placing, at_ms: int, one: _Open) -> bool:
    if event.change is not one.change or event.location in {other.location for other in one.events}:
        return False
    at_once = at_ms < one.last_ms + QUIET_MS  # one that waits for what hangs on its hub is no net for all else
    taken_along = one.head not in ("", *one.returned) and hangs_on(event.location, one.head)
    return (placing is one.placing and at_once) or taken_along


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
    kept: list[_Open] = []
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
    head = _Open(
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


def _placing(event: WatchEvent, state: Grouping) -> Placing:
    if event.location in state.places:
        return Placing.INSIDE
    stand_in = Node(bus=event.bus, location=event.location, kind=Kind.DEVICE, rung=Rung.ATTACHED)
    return state.seen.placing(stand_in)


def _moved(state: Grouping, event: WatchEvent) -> Grouping:
    """The state with what is there and what is away as the event leaves it."""
    here = frozenset(state.places.get(event.location, ()))
    there = state.there
    if event.change is Change.GONE:
        there = there - {event.location}
    elif event.change in _ARRIVING:
        there = there | {event.location} if event.bus in _TORN_DOWN else there
        state = _come_back(state, event.location)
    away = state.away - here if event.change in _GOOD else state.away | here
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


def _with_return(one: _Open, place: str) -> _Open:
    places = {event.location for event in one.events}
    back = places if place == one.head else places & {place}
    return replace(one, returned=one.returned | back)


def _incident(one: _Open, state: Grouping) -> Incident:
    places = {event.location for event in one.events}
    concerned = {device for place in places for device in state.places.get(place, ())}
    devices = tuple(device for device in state.wires.devices if device in concerned)
    stayed = state.prompt - state.away - concerned
    several = shared(devices, stayed, state.wires) if one.change not in _GOOD else ()
    heads = [device for device in state.places.get(one.head, ()) if device in concerned]
    single = devices[0] if len(devices) == 1 and one.change not in _GOOD else ""
    link = own_link(single, state.wires) if single else ""
    nearest = heads[0] if heads else single
    return Incident(
        number=state.count + 1,
        at_ms=one.first_ms,
        change=one.change,
        events=one.events,
        devices=devices,
        head=one.head,
        shared=several,
        carrier=carrier_of(nearest, state.wires) if nearest else "",
        own_link=link,
        stayed_on_link=tuple(
            device for device in state.wires.devices if link and device in stayed and link in state.wires.needs[device]
        ),
        outside=one.placing is Placing.OUTSIDE,
        unplaced=one.placing is Placing.UNKNOWN,
        instead_of=one.instead_of,
    )
