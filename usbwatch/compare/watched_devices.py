"""How each expected device fared while the unit was watched live: how often it left, for how long, and with what.

A pure reading of ``Capture.watches``. Only events at the place of an expected
device count, so that a helper device which somebody plugs in and pulls out
never does. What a hub takes along when it leaves is counted at the hub, once.

That a device stayed speaks for it only as far as a departure would have shown.
On USB the kernel notices it (``hub_port_connect_change`` in
drivers/usb/core/hub.c). A part on I2C, PS/2 or a display connector can lose
contact while its node stays, and a gauge is read too seldom to be caught at
each absence. Whether anybody moved anything is known only from marks.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from usbwatch.compare.durations import MARK_NEAR_MS
from usbwatch.compare.scene import Scene, bus_of, root_of
from usbwatch.compare.twins import twins_of
from usbwatch.model import (
    Change,
    ExpectedDevice,
    Kind,
    Node,
    Watch,
    Watched,
    WatchEvent,
    hangs_on,
    outward,
    parent_port,
)

__all__ = ["TOGETHER_MS", "near_mark", "watched_devices"]

TOGETHER_MS = 2500
"""Departures no farther apart than this count as one event (common practice, no source).

A hub takes what is on it along one after another, each driver being waited for (``usb_disconnect`` in
drivers/usb/core/hub.c); and the readings of a gauge are taken every two seconds.
"""

WAKING_MS, BEFORE_WAKING_MS = 5_000, 2_000
"""How long after a waking from sleep devices may be enumerated anew, and before it is noticed (elicited, no source)."""

_ROOT_PORTS = 2
_LEAVES, _RETURNS = (Change.GONE, Change.MUTE), (Change.BACK, Change.TALKING, Change.CAME)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """One absence, in one watch."""

    watch: int
    begins_ms: int
    ends_ms: int
    """The end of the watch where it did not come back in it."""
    open: bool = False
    mute: bool = False
    """The node stayed, and only its readings were away."""


@dataclass(slots=True, kw_only=True)
class _Told:
    """What the watches tell of one device, while it is gathered."""

    places: tuple[str, ...]
    tells: bool
    """Whether a departure from one of its places would have shown."""
    lasted_ms: int = 0
    limit_ms: int = 0
    missed: int = 0
    spans: list[_Span] = field(default_factory=list)
    anew: int = 0
    came: int = 0
    changes: dict[Change, int] = field(default_factory=dict)
    slowest_kbps: int = 0
    carrier: str = ""
    with_carrier: int = 0


def watched_devices(devices: Iterable[ExpectedDevice], nodes: Mapping[str, Node], scene: Scene) -> dict[str, Watched]:
    """By id of a device, how it fared in all the watches of the capture together; only those that were watched.

    ``nodes``: by id, the node that stands for a device. Takes time in
    proportion to events and devices, but for sorting.
    """
    watches = scene.capture.watches
    if not watches:
        return {}
    told = {one.id: _begun(one, nodes.get(one.id), scene) for one in devices}
    owners: dict[str, list[_Told]] = {}
    for one in told.values():
        for place in one.places:
            owners.setdefault(place, []).append(one)
    for number, watch in enumerate(watches):
        _gather(number, watch, owners)
    seen = {id_: one for id_, one in told.items() if one.lasted_ms}
    excused = [_enumerated_anew(number, watch, scene) for number, watch in enumerate(watches)]
    for one in seen.values():
        _excuse(one, excused)
    _charge(seen)
    marks = [sorted(mark.at_ms for mark in watch.marks) for watch in watches]
    together = _together(seen)
    return {id_: _watched(one, marks, together[id_], len(watches)) for id_, one in seen.items()}


def _begun(device: ExpectedDevice, node: Node | None, scene: Scene) -> _Told:
    """A device, and where events are its own; readings of a battery stand at the supply that hangs on it."""
    own = dict.fromkeys([*([node.location] if node is not None else []), *device.locations])
    own |= dict.fromkeys(twins_of(device, scene.ports))
    tells = any(bus_of(place) == "usb" for place in own)
    if device.function == "battery":
        supplies = [one.location for one in scene.capture.nodes if one.bus == "power_supply"]
        own |= dict.fromkeys(one for one in supplies for place in tuple(own) if hangs_on(one, place))
    return _Told(places=tuple(own), tells=tells)


def _gather(number: int, watch: Watch, owners: Mapping[str, list[_Told]]) -> None:
    """Add what one watch tells to the devices whose places it names."""
    mine: dict[int, tuple[_Told, list[WatchEvent]]] = {}
    for place in dict.fromkeys(watch.watched):
        for one in owners.get(place, ()):
            mine.setdefault(id(one), (one, []))
    for event in sorted(watch.events, key=lambda event: event.at_ms):
        for one in owners.get(event.location, ()):
            mine.setdefault(id(one), (one, []))[1].append(event)
    for one, events in mine.values():
        one.lasted_ms += watch.lasted_ms
        one.limit_ms = max(one.limit_ms, watch.limit_ms)
        one.missed += watch.missed
        one.spans += _spans(number, watch, events)
        one.came += _came(events)
        for event in events:
            one.changes[event.change] = one.changes.get(event.change, 0) + 1
            if event.change is Change.SLOWER and event.speed_kbps:
                one.slowest_kbps = min(one.slowest_kbps or event.speed_kbps, event.speed_kbps)


def _spans(number: int, watch: Watch, events: Sequence[WatchEvent]) -> Iterator[_Span]:
    """The absences that one device's events tell of, in order; what comes for the first time ends none."""
    left: WatchEvent | None = None
    for event in events:
        if event.change in _LEAVES:
            left = left or event
        elif event.change in _RETURNS:
            since = left.at_ms if left is not None else max(0, event.at_ms - event.away_ms)
            mute = event.change is Change.TALKING and (left is None or left.change is Change.MUTE)
            if left is not None or event.change is not Change.CAME:
                yield _Span(watch=number, begins_ms=since, ends_ms=event.at_ms, mute=mute)
            left = None
    if left is not None:
        mute = left.change is Change.MUTE
        ends_ms = max(watch.lasted_ms, left.at_ms)
        yield _Span(watch=number, begins_ms=left.at_ms, ends_ms=ends_ms, open=True, mute=mute)


def _came(events: Sequence[WatchEvent]) -> int:
    """How often a device came while it was not away from another of its places."""
    away, count = False, 0
    for event in events:
        count += event.change is Change.CAME and not away
        away = event.change in _LEAVES or (away and event.change not in _RETURNS)
    return count


# --- Enumerated anew, and no contact lost ---------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Excuse:
    """A stretch of time in which a departure of what sits below ``below`` is no lost contact."""

    from_ms: int
    to_ms: int
    below: str = ""


def _enumerated_anew(number: int, watch: Watch, scene: Scene) -> tuple[_Excuse, ...]:
    """Wakings from sleep, and the first time that all on a controller left and came back together.

    A device that does not keep its place in sleep is disconnected and enumerated anew as the system wakes
    (Documentation/driver-api/usb/persist.rst). A controller can start anew by itself once; one that goes on doing so
    is a fault.
    """
    woken = [_Excuse(from_ms=at_ms - BEFORE_WAKING_MS, to_ms=at_ms + WAKING_MS) for at_ms in watch.slept]
    controllers: dict[str, set[str]] = {}
    for node in scene.capture.nodes:
        if node.bus == "usb" and node.kind is Kind.DEVICE and root_of(node.location) and node.location in watch.watched:
            controllers.setdefault(root_of(node.location).rpartition("/")[0], set()).add(node.location)
    for controller, places in controllers.items():
        at_ms = _all_left_ms(number, watch, places)
        if at_ms is not None:
            woken.append(_Excuse(from_ms=at_ms - TOGETHER_MS, to_ms=at_ms + TOGETHER_MS, below=controller))
    return tuple(woken)


def _all_left_ms(number: int, watch: Watch, places: Collection[str]) -> int | None:
    """When all of these places were left and taken again together for the first time, None for never.

    One root port alone shows no more than that its line was open.
    """
    if sum(not parent_port(place) for place in places) < _ROOT_PORTS:
        return None
    spans: dict[str, list[_Span]] = {}
    for place in places:
        events = sorted((one for one in watch.events if one.location == place), key=lambda one: one.at_ms)
        spans[place] = [one for one in _spans(number, watch, events) if not one.open and not one.mute]
    least = min(spans.values(), key=len)
    for first in least:
        if all(any(_alike(first, other) for other in each) for each in spans.values()):
            return first.begins_ms
    return None


def _alike(one: _Span, other: _Span) -> bool:
    begun = abs(one.begins_ms - other.begins_ms) <= TOGETHER_MS
    return begun and abs(one.ends_ms - other.ends_ms) <= TOGETHER_MS


def _excuse(one: _Told, excused: Sequence[Sequence[_Excuse]]) -> None:
    """Count apart, of a device's absences that ended, the first of each such stretch of time."""
    used: set[_Excuse] = set()
    left: list[_Span] = []
    for span in one.spans:
        excuse = None if span.open or span.mute else _excuse_of(span, one.places, excused[span.watch])
        if excuse is None or excuse in used:
            left.append(span)
        else:
            used.add(excuse)
            one.anew += 1
    one.spans = left


def _excuse_of(span: _Span, places: Sequence[str], excused: Sequence[_Excuse]) -> _Excuse | None:
    for each in excused:
        at = any(root_of(place) and (not each.below or hangs_on(place, each.below)) for place in places)
        if at and each.from_ms <= span.begins_ms <= each.to_ms:
            return each
    return None


# --- One cause, many losses ----------------------------------------------------------------


def _charge(told: Mapping[str, _Told]) -> None:
    """Take what left with a carrier off the devices on it: it is counted at the carrier that left first."""
    at = {place: id_ for id_, one in told.items() for place in one.places}
    for one in sorted(told.values(), key=lambda one: min(map(len, one.places))):
        on_the_way = dict.fromkeys(at[over] for place in one.places for over in outward(place) if over in at)
        carriers = [id_ for id_ in on_the_way if told[id_].spans and told[id_] is not one]
        for id_ in carriers:
            theirs = _Index.of(told[id_].spans)
            one.spans = [span for span in one.spans if not theirs.holds(span)]
        if carriers:
            one.carrier, one.with_carrier = carriers[0], len(told[carriers[0]].spans)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Index:
    """Absences of one device, to be asked for those around a moment."""

    begins: Sequence[tuple[int, int]]
    ends: Sequence[int]

    @classmethod
    def of(cls, spans: Sequence[_Span]) -> _Index:
        """Of absences in the order of time, none of which overlap."""
        return cls(begins=[(one.watch, one.begins_ms) for one in spans], ends=[one.ends_ms for one in spans])

    def holds(self, span: _Span) -> bool:
        """Whether an absence began with, or within, one of these."""
        last = bisect_right(self.begins, (span.watch, span.begins_ms + TOGETHER_MS)) - 1
        return last >= 0 and self.begins[last][0] == span.watch and span.begins_ms <= self.ends[last] + TOGETHER_MS


def _together(told: Mapping[str, _Told]) -> dict[str, tuple[str, ...]]:
    """By device, the others that left in the same moments: in at least half of the departures of the one with fewer.

    A gauge is read every two seconds and misses most of what a flex does to it. Departures are put into events first,
    so that devices are compared by the events that they share.
    """
    every = sorted(
        ((span.watch, span.begins_ms, id_) for id_, one in told.items() for span in one.spans),
        key=lambda each: each[:2],
    )
    shared: dict[tuple[str, str], int] = {}
    for event in _events(every):
        for id_ in event:
            for other in event:
                shared[id_, other] = shared.get((id_, other), 0) + 1
    found: dict[str, list[str]] = {id_: [] for id_ in told}
    for (id_, other), count in shared.items():
        if id_ != other and 2 * count >= min(shared[id_, id_], shared[other, other]):
            found[id_].append(other)
    order = {id_: number for number, id_ in enumerate(told)}
    return {id_: tuple(sorted(others, key=order.__getitem__)) for id_, others in found.items()}


def _events(every: Sequence[tuple[int, int, str]]) -> Iterator[list[str]]:
    """Which devices left in each event: departures no farther than ``TOGETHER_MS`` from the first of it."""
    for _, of_watch in groupby(every, key=lambda each: each[0]):
        begun, event = 0, dict[str, None]()
        for _, at_ms, id_ in of_watch:
            if event and at_ms > begun + TOGETHER_MS:
                yield list(event)
                event = {}
            begun = at_ms if not event else begun
            event[id_] = None
        yield list(event)


# --- In sum --------------------------------------------------------------------------------


def _watched(one: _Told, marks: Sequence[Sequence[int]], together: tuple[str, ...], watches: int) -> Watched:
    lengths = [span.ends_ms - span.begins_ms for span in one.spans]
    return Watched(
        lasted_ms=one.lasted_ms,
        left=len(one.spans),
        fell_silent=sum(span.mute for span in one.spans),
        anew=one.anew,
        came=one.came,
        shortest_ms=min(lengths, default=0),
        longest_ms=max(lengths, default=0),
        away_ms=sum(lengths),
        away_at_end=any(span.open and span.watch == watches - 1 for span in one.spans),
        marked=sum(_near(span.begins_ms, marks[span.watch]) for span in one.spans),
        together=together,
        carrier=one.carrier,
        with_carrier=one.with_carrier,
        failures=one.changes.get(Change.FAILED, 0),
        fallbacks=one.changes.get(Change.SLOWER, 0),
        slowest_kbps=one.slowest_kbps,
        over_currents=one.changes.get(Change.OVER_CURRENT, 0),
        resets=one.changes.get(Change.RESET, 0),
        unbound=one.changes.get(Change.UNBOUND, 0),
        limit_ms=one.limit_ms,
        missed=one.missed,
        tells=one.tells,
    )


def near_mark(at_ms: int, mark_ms: int) -> bool:
    """Whether a moment and a mark are so near to each other that they may belong together."""
    return abs(at_ms - mark_ms) <= MARK_NEAR_MS


def _near(at_ms: int, marks: Sequence[int]) -> bool:
    place = bisect_left(marks, at_ms - MARK_NEAR_MS)
    return place < len(marks) and near_mark(at_ms, marks[place])
