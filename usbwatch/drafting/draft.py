"""A draft of a profile: from a census and a layout template to what is written down, with a remark for each guess."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from usbwatch.compare.bare_list import is_bare_list
from usbwatch.drafting.census import Census, LeftOut, Resident, Unfitted, census
from usbwatch.drafting.layout import Layout
from usbwatch.drafting.matching import match_of
from usbwatch.drafting.naming import LONGEST_NAME, distinct, model_id, model_name, word_for
from usbwatch.drafting.readings import OFTEN_CHANGED, lanes, link_gts, own_identity, reaches, speed_mbps
from usbwatch.drafting.seating import needs_of, seat_of
from usbwatch.model import (
    Basis,
    Capture,
    ExpectedDevice,
    HandCheck,
    Match,
    Node,
    Part,
    Rung,
    Variant,
    is_location,
)
from usbwatch.profile.crosschecks import MOST_PARTS
from usbwatch.profile.days import day_of
from usbwatch.profile.faults import quoted
from usbwatch.profile.places import impossible

__all__ = ["MOST_DEVICES", "Draft", "Entry", "Told", "can_be_held", "draft"]

MOST_DEVICES = MOST_PARTS
"""Devices that one profile can hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One device of a draft, with what is said beside its lines."""

    device: ExpectedDevice
    above: tuple[str, ...] = ()
    """Comments above its table, a sentence each."""
    beside: Mapping[str, str] = field(default_factory=dict)
    """By key: the comment at the end of its line."""
    offered: Mapping[str, object] = field(default_factory=dict)
    """Keys that are written as comments, to be taken up by a person, with their values."""
    open: bool = False
    """Its function is not known, so all of it is written as comments."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Sentences under a heading, written as comments."""

    title: str
    sentences: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """All that a drafted profile says."""

    id: str
    name: str
    source: str
    date: str
    """ISO 8601, "" where it is not known."""
    basis: Basis
    match: Match
    match_remarks: tuple[str, ...]
    """What of the unit's strings was not used, and why."""
    match_offered: Mapping[str, str]
    """Strings that would narrow the match, for a person to take up."""
    layout: Layout
    parts: tuple[Part, ...]
    entries: tuple[Entry, ...]
    checks: tuple[HandCheck, ...]
    unfitted: tuple[Unfitted, ...] = ()
    unseen: tuple[Unfitted, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    variants: tuple[Variant, ...] = ()
    told: tuple[Told, ...] = ()
    """What was learnt beside the devices."""


def draft(capture: Capture, layout: Layout, *, today: str = "", counted: Census | None = None) -> Draft:
    """The draft that one capture gives: written with ``usbwatch.drafting.writing`` it is a sound profile.

    ``today`` (ISO 8601) becomes its date; ``counted`` spares a census that was made already.
    """
    found = counted if counted is not None else census(capture)
    kept, refused = _writable(found.residents)
    entries = _entries(kept, layout, capture)
    parts, checks = _used(layout, entries)
    name = model_name(capture.unit)
    day = day_of(capture.taken_at)
    match, remarks, offered = match_of(capture.unit)
    return Draft(
        id=model_id(name),
        name=name,
        source=f"Drafted by usbwatch from one capture{f' of {day}' if day else ''}; not yet gone through by a person.",
        date=today,
        basis=Basis(how="drafted", layout=layout.id, units=1, captures=1, since=day, until=day),
        match=match,
        match_remarks=remarks,
        match_offered=offered,
        layout=layout,
        parts=parts,
        entries=entries,
        checks=checks,
        unfitted=found.unfitted,
        unseen=found.unseen,
        left_out=(*found.left_out, *refused),
    )


def can_be_held(place: str, function: str) -> bool:
    """Whether a profile can name this place for a device of this function."""
    return is_location(place) and len(place) <= LONGEST_NAME and not impossible(place, function)


def _writable(residents: Sequence[Resident]) -> tuple[list[Resident], list[LeftOut]]:
    """Residents whose place a profile can hold, as many as it can hold, and the rest."""
    kept: list[Resident] = []
    refused: list[LeftOut] = []
    for one in sorted(residents, key=_rank):
        place = one.node.location
        if not can_be_held(place, one.function):
            refused.append(LeftOut(node=one.node, reason="its place is none that a profile can hold"))
        elif len(kept) >= MOST_DEVICES:
            refused.append(LeftOut(node=one.node, reason=f"a profile holds at most {MOST_DEVICES} devices"))
        else:
            kept.append(one)
    return kept, refused


_ORDER = (
    "usb-controller",
    "hub",
    "keyboard",
    "touchpad",
    "pointing-stick",
    "pointing-device",
    "mouse",
    "fingerprint-reader",
    "power-button",
    "graphics",
    "panel",
    "touchscreen",
    "pen",
    "camera",
    "sensor",
    "battery",
    "mains-adapter",
    "lid",
    "disk",
    "wlan",
    "bluetooth",
    "wwan",
    "audio",
)
"""In what order devices stand in a draft: carriers first, then as a bench asks after them."""


def _rank(one: Resident) -> tuple[int, int, str]:
    place = _ORDER.index(one.function) if one.function in _ORDER else len(_ORDER) + (not one.function)
    return place, one.node.location.count(".") + one.node.location.count("/"), one.node.location


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unit:
    """What every entry is made with."""

    residents: Sequence[Resident]
    layout: Layout
    ids: Mapping[str, str]
    """Of the devices, by location; of several that units of one model have in one place, the first."""
    ports: Mapping[str, Node]
    """USB ports by location."""
    listed: bool
    """The capture is a bare list of devices, which does not show how far they got."""


def _entries(kept: Sequence[Resident], layout: Layout, capture: Capture) -> tuple[Entry, ...]:
    taken = {part.id for part in layout.parts} | {check.id for check in layout.checks}
    named: list[tuple[str, str]] = []
    ids: dict[str, str] = {}
    for one in kept:
        name, wanted = word_for(one.function, one.node)
        id_ = distinct(wanted, taken)
        taken.add(id_)
        ids.setdefault(one.node.location, id_)
        named.append((id_, name + id_.removeprefix(wanted).replace("-", " ")))
    ports = {node.location: node for node in capture.nodes if node.bus == "usb-port"}
    unit = _Unit(residents=kept, layout=layout, ids=ids, ports=ports, listed=is_bare_list(capture))
    return tuple(_entry(one, id_, name, unit) for one, (id_, name) in zip(kept, named, strict=True))


def _entry(one: Resident, id_: str, name: str, unit: _Unit) -> Entry:
    node = one.node
    seat = seat_of(one, unit.layout, unit.ports.get(node.location))
    identity = own_identity(node)
    held = bool(identity) and one.function not in OFTEN_CHANGED
    device = ExpectedDevice(
        id=id_,
        name=name,
        function=one.function,
        within=seat.within,
        locations=(node.location,),
        identities=(identity,) if held else (),
        needs=needs_of(one, seat, unit.ids, unit.residents),
        reaches=Rung.WORKING if unit.listed else reaches(node, one.function),
        speed_mbps=speed_mbps(node),
        lanes=lanes(node),
        link_gts=link_gts(node) if one.function != "graphics" else None,
    )
    return Entry(
        device=device,
        above=_above(one),
        beside=_beside(one, device),
        offered={"identity": identity} if identity and not held else {},
        open=not one.function,
    )


def _above(one: Resident) -> tuple[str, ...]:
    remarks = [f"Not sure that it is inside: {one.doubt}."] if one.doubt else []
    if one.node.name and quoted(one.node.name) not in one.evidence and one.node.bus not in ("drm", "serio"):
        remarks.insert(0, f"It calls itself {quoted(one.node.name)}.")
    return tuple(remarks)


_ANOTHER_DRIVER = "as far as it got here: no driver of this system made more of it"
_DECLARED = "firmware declares it; only moving it proves it"


def _beside(one: Resident, device: ExpectedDevice) -> dict[str, str]:
    beside = {"function": one.evidence}
    if device.reaches is not Rung.WORKING:
        beside["reaches"] = _DECLARED if one.node.bus == "acpi" else _ANOTHER_DRIVER
    return beside


def _used(layout: Layout, entries: Sequence[Entry]) -> tuple[tuple[Part, ...], tuple[HandCheck, ...]]:
    """The parts of a layout that something in the draft depends on, and the hand checks that can be asked."""
    ids = {one.device.id for one in entries if not one.open}
    on_the_way = {need for one in entries for need in one.device.needs} | {one.device.within for one in entries}
    has_battery = any(one.device.function == "battery" for one in entries)
    on_the_way |= _power(has_battery=has_battery) | {"mainboard"}
    parts = {part.id: part for part in layout.parts}
    for part in layout.parts:
        if part.id in on_the_way:
            on_the_way |= {part.within, *part.joins}
    checks = tuple(one for one in layout.checks if set(one.needs) <= ids | (on_the_way & parts.keys()))
    return tuple(part for part in layout.parts if part.id in on_the_way), checks


def _power(*, has_battery: bool) -> set[str]:
    """Parts of the way of power, which only hand checks ask after."""
    way = {"mainboard-power", "adapter-plug", "power-adapter"}
    return way | {"mainboard-charger", "battery-connector", "battery-pack"} if has_battery else way
