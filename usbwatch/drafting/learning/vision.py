"""What one capture could see, small enough to be kept for thousands of captures.

The rules are those of ``usbwatch.compare.absence``: that a place is empty means
something only where its bus was seen and all that carries it was at work.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from usbwatch.capture.log.troubles import CONTROLLER_DIED, ENUMERATION_FAILED, STILL_ENUMERATING
from usbwatch.compare.clients import Asked, asked, is_client
from usbwatch.compare.declared_ports import port_declarations
from usbwatch.compare.scene import Scene, bus_of, root_of
from usbwatch.model import DeclaredState, Kind, Node, Rung, outward, parent_port

__all__ = ["BUSES", "OPEN", "Vision", "blocked", "vision"]

BUSES = ("usb", "pci", "acpi", "power_supply", "i2c", "drm")
"""No laptop is without them: where one was not seen, devices are lacking."""

OPEN = ""
"""``blocked``: nothing is in the way."""
BLIND = "?"
"""``blocked``: the capture could not see the place, and no lost carrier is the reason."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vision:
    """What decides whether an empty place means anything. Equal ones are kept once."""

    seen: frozenset[str]
    """Buses that were seen."""
    carrying: frozenset[str]
    """Root hubs and hubs at work, USB controllers that are there, I2C and SPI adapters, graphics with connectors."""
    idle: frozenset[str]
    """Controllers that are there and do no work: without a driver, or dead."""
    untold: frozenset[str]
    """Places of which this capture says neither yes nor no."""
    failing: frozenset[str]
    """Places at which something is attached and failed."""
    sockets: frozenset[str]
    """USB ports that firmware calls sockets."""
    empty: frozenset[str]
    """USB ports that firmware calls hardwired, with nothing on them."""

    def parts(self) -> tuple[frozenset[str], ...]:
        """All its sets."""
        return self.seen, self.carrying, self.idle, self.untold, self.failing, self.sockets, self.empty

    def sharing(self, texts: dict[str, str]) -> Vision:
        """The same, made of the very texts in ``texts``, which is added to: so that each is kept once."""
        seen, carrying, idle, untold, failing, sockets, empty = (
            frozenset(texts.setdefault(text, text) for text in part) for part in self.parts()
        )
        return Vision(
            seen=seen, carrying=carrying, idle=idle, untold=untold, failing=failing, sockets=sockets, empty=empty
        )


def vision(seen: Scene) -> Vision:
    """What a capture could see."""
    nodes = seen.capture.nodes
    idle = frozenset(_idle(seen))
    declared = {one.location for one in nodes if one.bus == "acpi" and one.facts.get("physical") in idle}
    failing = frozenset(_failing(seen))
    return Vision(
        seen=frozenset(bus for bus, coverage in seen.coverage.items() if coverage.state.seen),
        carrying=frozenset(_carrying(nodes)),
        idle=idle | declared,
        untold=frozenset(_untold(seen)) - failing,
        failing=failing,
        sockets=frozenset(place for place, one in seen.ports.items() if one.facts.get("connect_type") == "hotplug"),
        empty=frozenset(one.where for one in port_declarations(seen) if one.state is DeclaredState.NOT_FOUND),
    )


_CARRIES = ("01", "03", "04", "08", "0c")
"""Beginnings of PCI class codes of what carries other buses (pci.ids): storage, display, sound, card hosts, serial."""


def _idle(seen: Scene) -> Iterator[str]:
    for node in seen.capture.nodes:
        if node.bus == "pci" and not node.driver and str(node.facts.get("class", "")).startswith(_CARRIES):
            yield node.location
    yield from (one.location for one in seen.capture.episodes if one.location and one.trouble == CONTROLLER_DIED)


def _carrying(nodes: tuple[Node, ...]) -> Iterator[str]:
    for node in nodes:
        hub = node.bus == "usb" and "hub" in node.functions and node.kind is not Kind.INTERFACE
        controller = node.bus == "pci" and "usb-controller" in node.functions
        if controller or (hub and node.rung.reaches(Rung.WORKING)):
            yield node.location
        if node.bus == "drm" and not node.name.startswith("Virtual"):
            yield node.location.partition("/drm/")[0]
        if node.location.endswith(("/i2c", "/spi")):
            yield node.location


def _untold(seen: Scene) -> Iterator[str]:
    """Clients that no driver asked, and ports whose device could not be read."""
    for node in seen.capture.nodes:
        if is_client(node) and asked(node, seen) in _NOT_ASKED:
            yield node.location
    for place, port in seen.ports.items():
        if port.rung.reaches(Rung.IDENTIFIED) and not _has_device(place, seen):
            yield place


_NOT_ASKED = frozenset({Asked.UNASKED, Asked.WAITING, Asked.LEFT_ALONE})


def _failing(seen: Scene) -> Iterator[str]:
    for node in seen.capture.nodes:
        if is_client(node) and asked(node, seen) in (Asked.FAILED, Asked.SILENT):
            yield node.location
    for place, port in seen.ports.items():
        attached = port.rung is not Rung.ABSENT and not port.rung.reaches(Rung.IDENTIFIED)
        if attached and not _has_device(place, seen):
            yield place
    for one in seen.capture.episodes:
        told = one.trouble in (ENUMERATION_FAILED, STILL_ENUMERATING)
        if one.location and told and not _has_device(one.location, seen):
            yield one.location


def _has_device(place: str, seen: Scene) -> bool:
    return any(one.bus == "usb" and one.kind is not Kind.INTERFACE for one in seen.at.get(place, ()))


def blocked(place: str, bus: str, at: Vision) -> str:
    """``OPEN`` where emptiness means something; the place of the lost carrier; or ``BLIND``."""
    way = bus_of(place)
    if not {bus, way} <= at.seen or place in at.untold or place in at.failing:
        return BLIND
    if any(other in at.idle for other in outward(place)):
        return BLIND
    if way == "usb":
        return _blocked_on_usb(place, at)
    if bus == "drm" and place.partition("/drm/")[0] not in at.carrying:
        return BLIND
    adapter = place.rpartition("/")[0]
    return BLIND if way in ("i2c", "spi") and adapter not in at.carrying else OPEN


def _blocked_on_usb(place: str, at: Vision) -> str:
    """The outermost carrier that is lost decides: nothing can be said of what hangs on it."""
    hub = parent_port(place)
    lost = OPEN
    while hub:
        if hub in at.failing or hub in at.untold:
            return BLIND
        lost = lost if hub in at.carrying else hub
        hub = parent_port(hub)
    root = root_of(place)
    if root in at.carrying:
        return lost
    controller = root.rpartition("/")[0]
    return BLIND if controller in at.carrying else controller
