"""A draft from what was learnt of many units: the same layout template, with what differs between them written in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from usbwatch.drafting.census import DOUBT, Census, Resident, Unfitted
from usbwatch.drafting.draft import Draft, Entry, Told, can_be_held, draft
from usbwatch.drafting.layout import Layout
from usbwatch.drafting.learning.values import Learnt, LearntDevice, OutlierKind, Standing
from usbwatch.drafting.learning.words import (
    basis_words,
    called,
    difference_words,
    outlier_words,
    place_words,
    source_words,
    standing_words,
    unseen_bus_words,
    variant_words,
)
from usbwatch.drafting.naming import LONGEST_NAME
from usbwatch.drafting.readings import OFTEN_CHANGED, own_identity
from usbwatch.model import (
    Basis,
    Capture,
    Fact,
    Kind,
    Match,
    Node,
    System,
    UnitStrings,
    Variant,
)

__all__ = ["draft_of_many"]


def draft_of_many(learnt: Learnt, layout: Layout, *, today: str = "") -> Draft:
    """The draft of a model from many captures; ``today`` (ISO 8601) becomes its date."""
    devices = _distinct(learnt.devices)
    nodes = {number: _node(device) for number, device in devices.items()}
    residents = tuple(_resident(nodes[number], device) for number, device in devices.items())
    bare = draft(
        Capture(
            taken_at=learnt.until,
            tool="",
            system=System(platform="linux"),
            unit=UnitStrings(**{key: values[0][0] for key, values in learnt.strings.items() if values}),
            coverage=(),
            nodes=tuple(nodes.values()),
        ),
        layout,
        today=today,
        counted=Census(residents=residents, left_out=(), unfitted=()),
    )
    number_of = {(nodes[number].location, device.function): number for number, device in devices.items()}
    numbers = [number_of[entry.device.locations[0], entry.device.function] for entry in bare.entries]
    entries = tuple(
        _entry(entry, devices[number], nodes[number]) for entry, number in zip(bare.entries, numbers, strict=True)
    )
    ids = {number: entry.device.id for entry, number in zip(entries, numbers, strict=True) if not entry.open}
    return replace(
        bare,
        source=_source(learnt),
        basis=Basis(
            how="learnt",
            layout=layout.id,
            units=learnt.units,
            captures=learnt.captures,
            since=learnt.since,
            until=learnt.until,
        ),
        match=_match(bare.match, learnt),
        match_offered={key: text for key, text in bare.match_offered.items() if len(learnt.strings.get(key, ())) == 1},
        entries=entries,
        variants=tuple(_variants(learnt, ids, bare)),
        unfitted=tuple(_unfitted(learnt)),
        told=tuple(_told(learnt)),
    )


def _unfitted(learnt: Learnt) -> Iterator[Unfitted]:
    for one in learnt.empty_ports:
        yield Unfitted(
            what=f"part wired to USB port {one.text.rpartition('/')[2]}",
            function="",
            where=one.text,
            said_by="USB port table: hardwired",
            because=f"nothing was there in {one.units} of {_many(learnt.units, 'unit')}",
        )


def _distinct(devices: Sequence[LearntDevice]) -> dict[int, LearntDevice]:
    """By number, the devices, but of two that do the same in one place only the more usual one."""
    found: dict[tuple[str, str], int] = {}
    for number, one in enumerate(devices):
        key = (one.places[0].text, one.function)
        other = found.get(key)
        if other is None or devices[other].support.there < one.support.there:
            found[key] = number
    return {number: devices[number] for number in sorted(found.values())}


def _resident(node: Node, device: LearntDevice) -> Resident:
    return Resident(
        node=node,
        function=device.function,
        evidence=device.evidence,
        sure=device.inside,
        doubt="" if device.inside else DOUBT,
    )


def _node(device: LearntDevice) -> Node:
    """A node as a healthy unit shows it: what a draft reads of one."""
    facts: dict[str, Fact] = {"lid": "yes"} if device.in_display_half else {}
    if device.speed_mbps:
        facts["speed_kbps"] = device.speed_mbps * 1000
    if device.lanes:
        facts["current_link_width"] = str(device.lanes)
        facts["current_link_speed"] = f"{device.link_gts:.1f} GT/s" if device.link_gts else ""
    return Node(
        bus=device.bus,
        location=device.places[0].text,
        kind=Kind.DEVICE,
        rung=device.reaches,
        identity=device.identities[0].text if device.identities else "",
        name=device.name,
        functions=(device.function,) if device.function else (),
        driver=device.driver,
        facts=facts,
    )


def _entry(entry: Entry, device: LearntDevice, node: Node) -> Entry:
    """A draft's entry with all places and identities, and with what stands behind them."""
    places = tuple(one.text for one in device.places if can_be_held(one.text, device.function))
    own = (own_identity(replace(node, identity=one.text)) for one in device.identities)
    identities = tuple(dict.fromkeys(one for one in own if one))
    held = device.function not in OFTEN_CHANGED
    doubt = (f"In doubt: {device.doubt}",) if device.doubt else ()
    said = (standing_words(device), *place_words(device), *source_words(device), *doubt)
    return replace(
        entry,
        device=replace(
            entry.device,
            locations=places,
            identities=identities if held else (),
            optional=device.standing is Standing.OPTIONAL,
            firmware_names=device.firmware_names,
        ),
        above=(*entry.above, *(f"{sentence}." for sentence in said)),
        offered={"identity": list(identities)} if identities and not held else {},
    )


def _source(learnt: Learnt) -> str:
    days = f", {learnt.since} to {learnt.until}" if learnt.since != learnt.until else f" of {learnt.until}"
    counted = f"{_many(learnt.captures, 'capture')} of {_many(learnt.units, 'unit')}"
    captures = f"{counted}{days if learnt.until else ''}"
    return f"Learnt by usbwatch from {captures}; not yet gone through by a person."


def _many(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _match(match: Match, learnt: Learnt) -> Match:
    """Every name under which units of the model were seen."""
    strings = {key: tuple(text for text, _ in learnt.strings[key] if _is_text(text)) for key in match.strings}
    return Match(strings={key: texts or match.strings[key] for key, texts in strings.items()})


def _is_text(text: str) -> bool:
    return text.isprintable() and text == text.strip() and 0 < len(text) <= LONGEST_NAME


def _variants(learnt: Learnt, ids: dict[int, str], bare: Draft) -> Iterator[Variant]:
    """The variants of which the profile can hold the strings; none where only one kind of unit is left."""
    held = [one for one in learnt.variants if all(_is_text(text) for texts in one.match.values() for text in texts)]
    lacks = [tuple(ids[number] for number in one.without if number in ids) for one in held]
    if not any(lacks):
        return
    taken = {*ids.values(), *(part.id for part in bare.parts), *(check.id for check in bare.checks)}
    for number, (one, without) in enumerate(zip(held, lacks, strict=True), 1):
        strings = ", ".join(" or ".join(texts) for texts in one.match.values())
        name = f"{bare.name}, {strings}"
        yield Variant(
            id=next(word for word in (f"variant-{number}", f"learnt-variant-{number}") if word not in taken),
            name=name if len(name) <= LONGEST_NAME else f"{bare.name}, variant {number}"[:LONGEST_NAME],
            match=Match(strings=one.match),
            without=without,
        )


_MOST = 40
"""Sentences of one kind that a profile holds as comments."""


def _told(learnt: Learnt) -> Iterator[Told]:
    """What a person should know beside the devices: variants, versions, and captures that were not as the others."""
    devices = learnt.devices
    few = basis_words(learnt.captures, learnt.units)
    yield Told(title="How far this can be relied on", sentences=[few] if few else [])
    yield Told(
        title="Variants, as they were learnt", sentences=[variant_words(one, devices) for one in learnt.variants]
    )
    together = [
        f"{called(one)} goes with {', '.join(called(devices[number]) for number in one.goes_with)}"
        for one in devices
        if one.goes_with
    ]
    yield Told(title="Optional devices that go together", sentences=together)
    yield Told(title="Seen by no capture", sentences=[unseen_bus_words(bus) for bus in learnt.unseen_buses])
    versions = [difference_words(one, devices) for one in learnt.differences]
    yield Told(title="Differences by the version of firmware or kernel alone", sentences=versions)
    for kind in (OutlierKind.NOT_HEALTHY, OutlierKind.HELPER, OutlierKind.OTHER_MODEL, OutlierKind.NOTHING_TO_LEARN):
        named = [outlier_words(replace(one, name=_file(one.name))) for one in learnt.outliers if one.kind is kind]
        yield Told(title=f"Captures: {kind.value}", sentences=_limited(named))


def _file(name: str) -> str:
    """A file's own name: where it lies on one machine says nothing on another."""
    return name.replace("\\", "/").rpartition("/")[2]


def _limited(sentences: Sequence[str]) -> list[str]:
    more = len(sentences) - _MOST
    return [*sentences[:_MOST], f"and {more} more captures"] if more > 0 else list(sentences)
