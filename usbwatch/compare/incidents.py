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
from dataclasses import replace

from usbwatch.compare.findings import findings as compared
from usbwatch.compare.grouping import (
    LONGEST_MS,
    QUIET_MS,
    TEARDOWN_MS,
    TORN_DOWN,
    Grouping,
    Open,
    joined,
    moved,
)
from usbwatch.compare.scene import Placing, scene
from usbwatch.compare.shared_parts import carrier_of, own_link, shared, tells_at_once, wiring
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
)
from usbwatch.model.watch import GOOD

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
            if node.bus in TORN_DOWN and node.kind is Kind.DEVICE and node.rung is not Rung.ABSENT
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
    """The state after one more event. An event that is late counts as of the latest moment known of.

    What hangs on a helper device is not told besides it.
    """
    at_ms = max(event.at_ms, state.now_ms)
    state = _told(state, at_ms)
    if event.location not in state.places and state.seen.is_of_a_helper(event.bus, event.location):
        return state
    state = joined(state, event, at_ms)
    return moved(state, event)


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


def _incident(one: Open, state: Grouping) -> Incident:
    places = {event.location for event in one.events}
    concerned = {device for place in places for device in state.places.get(place, ())}
    devices = tuple(device for device in state.wires.devices if device in concerned)
    stayed = state.prompt - state.away - concerned
    several = shared(devices, stayed, state.wires) if one.change not in GOOD else ()
    heads = [device for device in state.places.get(one.head, ()) if device in concerned]
    single = devices[0] if len(devices) == 1 and one.change not in GOOD else ""
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
