"""Captures of several units of one model, made from one by small changes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from usbwatch.capture.document import document
from usbwatch.drafting.learning import Learnt, LearntDevice, Source, Standing, learn
from usbwatch.model import Capture, Coverage, CoverageState, Kind, Rung, hangs_on

__all__ = [
    "at_place",
    "blind",
    "learnt_from",
    "lost",
    "moved",
    "of_another_maker",
    "places",
    "source",
    "unit",
    "units",
]


def unit(capture: Capture, number: int, **strings: str) -> Capture:
    """The same look at another unit: its serial number, the time, and other strings of firmware if any."""
    serial = f"LG-{number:04d}-DEMO"
    day = f"2026-03-{1 + number % 28:02d}T08:{number // 28 % 60:02d}:00Z"
    return replace(capture, taken_at=day, unit=replace(capture.unit, product_serial=serial, **strings))


def units(capture: Capture, count: int, first: int = 1, **strings: str) -> list[Capture]:
    """Several units that show the same."""
    return [unit(capture, number, **strings) for number in range(first, first + count)]


def source(capture: Capture, name: str) -> Source:
    """A capture as it comes from a file."""
    return Source(name=name, digest=str(document(capture)["digest"]), capture=capture)


def _sources(captures: Iterable[Capture]) -> Iterator[Source]:
    for number, one in enumerate(captures):
        yield source(one, f"{one.unit.product_serial or number}.json")


def learnt_from(captures: Iterable[Capture]) -> Learnt:
    """What captures tell, each named by its unit's serial number."""
    return learn(_sources(captures))


def places(learnt: Learnt, standing: Standing = Standing.MANDATORY) -> set[str]:
    """Usual places of the devices with one standing."""
    return {one.places[0].text for one in learnt.devices if one.standing is standing}


def at_place(learnt: Learnt, place: str) -> LearntDevice:
    """The one device that was learnt at a place."""
    (found,) = [one for one in learnt.devices if any(place == each.text for each in one.places)]
    return found


def lost(capture: Capture, *gone: str) -> Capture:
    """The same without what stands at some places; their ports are empty then."""
    nodes = []
    for node in capture.nodes:
        if not any(node.location == place or hangs_on(node.location, place) for place in gone):
            nodes.append(node)
        elif node.bus == "usb-port" and node.location in gone:
            nodes.append(replace(node, rung=Rung.ABSENT, facts={**node.facts, "state": "not attached"}))
    return replace(capture, nodes=tuple(nodes))


def moved(capture: Capture, place: str, target: str) -> Capture:
    """The same with a USB device in another port."""
    there = {one.location: one for one in capture.nodes if one.bus == "usb-port"}
    nodes = []
    for node in capture.nodes:
        if node.bus == "usb-port" and node.location in (place, target):
            other = there[target if node.location == place else place]
            nodes.append(replace(other, location=node.location))
        elif node.location == place or hangs_on(node.location, place):
            nodes.append(replace(node, location=target + node.location[len(place) :]))
        else:
            nodes.append(node)
    return replace(capture, nodes=tuple(sorted(nodes, key=lambda node: (node.location, node.bus))))


def of_another_maker(capture: Capture, place: str, identity: str) -> Capture:
    """The same with another identity of what stands at a place."""
    nodes = tuple(
        replace(node, identity=identity)
        if node.identity and node.kind is not Kind.INTERFACE and (node.location + "/").startswith(place + "/")
        else node
        for node in capture.nodes
    )
    return replace(capture, nodes=nodes)


def blind(capture: Capture, bus: str) -> Capture:
    """The same by a system that does not show a bus."""
    coverage = tuple(
        Coverage(bus=bus, state=CoverageState.NOT_THERE) if one.bus == bus else one for one in capture.coverage
    )
    return replace(capture, coverage=coverage, nodes=tuple(one for one in capture.nodes if one.bus != bus))
