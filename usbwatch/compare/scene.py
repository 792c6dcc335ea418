"""A capture indexed for comparison: what is where, what was seen, and what lies outside the unit."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from usbwatch.capture.portable.words import NOT_OBSERVABLE
from usbwatch.compare.twins import usb2_twins
from usbwatch.model import (
    Capture,
    Coverage,
    CoverageState,
    Episode,
    Kind,
    Node,
    Profile,
    Rung,
    hangs_on,
    outward,
    parent_port,
)

__all__ = ["Placing", "Scene", "bus_of", "root_of", "scene", "usb_carrier"]


class Placing(Enum):
    """Whether a node belongs to the unit."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything that the comparison asks of a capture, by place."""

    capture: Capture
    at: dict[str, tuple[Node, ...]]
    """Nodes by location, most telling first; USB ports are in ``ports``."""
    ports: dict[str, Node]
    coverage: dict[str, Coverage]
    named: frozenset[str]
    """Locations that the profile names, and the USB 2 ports of the same connectors."""
    troubles: dict[str, tuple[Episode, ...]] = field(default_factory=dict)
    placings: dict[tuple[str, str], Placing] = field(default_factory=dict, compare=False, repr=False)
    """By bus and location what ``placing`` came to: every expected device asks it of every node."""

    def seen(self, bus: str) -> bool:
        """Whether the absence of something on ``bus`` means anything."""
        coverage = self.coverage.get(bus)
        return coverage is not None and coverage.state.seen

    def unread(self, node: Node) -> int:
        """How many files of a node, and of what hangs on it, could not be read."""
        near = [node, *(other for other in self.capture.nodes if hangs_on(other.location, node.location))]
        counts = [other.facts.get("unread_files", 0) for other in near]
        return sum(count for count in counts if isinstance(count, int))

    def placing(self, node: Node) -> Placing:
        """Whether a node belongs to the unit.

        The profile's word comes first, then what firmware says of each port
        on the way (drivers/usb/core/usb-acpi.c), then ``removable``. Firmware
        tables are often copied between models, so without a clear word the
        answer is *unknown* rather than a guess. What hangs on a USB port is
        where that port is, even when nothing was in it at the capture.
        """
        key = (node.bus, node.location)
        if key not in self.placings:
            self.placings[key] = self._placing(node)
        return self.placings[key]

    def _placing(self, node: Node) -> Placing:
        if node.location in self.named:
            return Placing.INSIDE
        if self._beyond_removable(node.location):
            return Placing.OUTSIDE
        carrier = node.location if node.bus == "usb" else usb_carrier(node.location)
        return self._usb_placing(carrier) if carrier else Placing.INSIDE

    def placing_of_change(self, bus: str, location: str) -> Placing:
        """Whether what changed at a place belongs to the unit; the capture may know nothing of that place.

        Off USB firmware tells nothing of sockets. So what was not there at the
        capture is *unknown*: a second display, a card, a partner. A display
        connector is there with nothing on it; inside a unit are those of
        panels alone (names: ``drm_connector_enum_list`` in
        drivers/gpu/drm/drm_connector.c).
        """
        at_port = usb_carrier(location) or (bus == "usb")
        known = location in self.named or any(node.bus == bus for node in self.at.get(location, ()))
        external = bus == "drm" and not location.rpartition("/")[2].startswith(_PANELS)
        if not at_port and location not in self.named and (external or not known):
            return Placing.UNKNOWN
        return self.placing(Node(bus=bus, location=location, kind=Kind.DEVICE, rung=Rung.ATTACHED))

    def is_of_a_helper(self, bus: str, location: str) -> bool:
        """Whether a place off USB hangs on a USB device that is not known to be the unit's own: a stick's disk.

        It comes and goes with that device, and is no more news than it.
        """
        carrier = usb_carrier(location) if bus != "usb" and location not in self.named else ""
        return carrier != "" and self._usb_placing(carrier) is not Placing.INSIDE

    def _beyond_removable(self, location: str) -> bool:
        """Whether a node or anything on the way to it can be taken out: a dock's PCI function, a card, a partner."""
        return any(
            (other.bus == "pci" and other.facts.get("removable") == "removable")
            or other.facts.get("placed") == "outside"
            for place in (location, *outward(location))
            for other in self.at.get(place, ())
        )

    def _usb_placing(self, location: str) -> Placing:
        """Every hop must be inside: a helper with a hub of its own calls what is soldered to that hub fixed, too."""
        words = set()
        place = location
        while place and place not in self.named:
            words.add(self._hop_word(place))
            place = parent_port(place)
        if Placing.OUTSIDE in words:
            return Placing.OUTSIDE
        return Placing.UNKNOWN if Placing.UNKNOWN in words else Placing.INSIDE

    def _hop_word(self, place: str) -> Placing:
        """What firmware says of a port, or where it says nothing the hub's word on what is in it."""
        port = self.ports.get(place)
        word = str(port.facts.get("connect_type", "")) if port else ""
        if word not in _PLACED:
            word = next((str(node.facts.get("removable", "")) for node in self.at.get(place, ())), "")
        return _PLACED.get(word, Placing.UNKNOWN)


_PANELS = ("eDP", "LVDS", "DSI", "DPI")
"""How the connectors of panels are named."""

_PLACED = {
    "hotplug": Placing.OUTSIDE,
    "hardwired": Placing.INSIDE,
    "removable": Placing.OUTSIDE,
    "fixed": Placing.INSIDE,
}
"""Words of a port's ``connect_type`` and a device's ``removable`` (drivers/usb/core/usb-acpi.c, hub.c)."""

_TELLING = {Kind.DEVICE: 0, Kind.PORT: 1, Kind.INFRASTRUCTURE: 2, Kind.FUNCTION: 3, Kind.DECLARED: 4, Kind.INTERFACE: 5}


def scene(capture: Capture, profile: Profile | None = None) -> Scene:
    """The capture indexed against the places that a profile names; without one none is named."""
    at: dict[str, list[Node]] = {}
    ports: dict[str, Node] = {}
    for node in capture.nodes:
        if node.bus == "usb-port":
            ports[node.location] = node
        else:
            at.setdefault(node.location, []).append(node)
    troubles: dict[str, list[Episode]] = {}
    for episode in capture.episodes:
        troubles.setdefault(episode.location, []).append(episode)
    return Scene(
        capture=capture,
        at={place: tuple(sorted(nodes, key=_telling)) for place, nodes in at.items()},
        ports=ports,
        coverage={coverage.bus: coverage for coverage in capture.coverage},
        named=_named(profile, ports) if profile is not None else frozenset(),
        troubles={place: tuple(episodes) for place, episodes in troubles.items()},
    )


def _named(profile: Profile, ports: dict[str, Node]) -> frozenset[str]:
    """The places that the profile names, and the USB 2 port of each connector whose SuperSpeed port it names."""
    places = {place for device in profile.devices for place in device.locations}
    return frozenset(places | usb2_twins(places, ports).keys())


def _telling(node: Node) -> tuple[int, bool, str]:
    """A device before what it became, its own bus before firmware's word."""
    return _TELLING[node.kind], node.bus == "acpi", node.bus


def root_of(location: str) -> str:
    """The root hub part of a USB location, "" for any other.

    >>> root_of("pci0000:00/14.0/usb2/4.1")
    'pci0000:00/14.0/usb2'
    """
    head, _, chain = location.rpartition("/")
    return head if head.rpartition("/")[2] in ("usb1", "usb2", "usb3") and chain[:1].isdigit() else ""


def usb_carrier(location: str) -> str:
    """The location of the nearest USB device on the way to a place, "" where there is none.

    >>> usb_carrier("pci0000:00/14.0/usb2/3/if0/block")
    'pci0000:00/14.0/usb2/3'
    """
    return next((place for place in outward(location) if root_of(place)), "")


def bus_of(location: str) -> str:
    """The bus on which something at ``location`` shows."""
    if root_of(location):
        return "usb"
    for mark, bus in _BUS_MARKS:
        if mark in location:
            return bus
    return "acpi" if location.startswith("acpi/") else "pci"


_BUS_MARKS = (
    ("platform/i8042/", "serio"),
    ("/drm/", "drm"),
    ("/i2c/", "i2c"),
    ("/spi/", "spi"),
    ("/ata", "block"),
    ("/mmc", "mmc"),
    ("/codec", "hdaudio"),
    ("/soundwire/", "soundwire"),
    ("/hwmon", "hwmon"),
    ("/iio", "iio"),
)


def _not_looked_at(scene: Scene, bus: str) -> tuple[str, str]:
    if not scene.capture.tool:  # answers alone
        return "the unit was not captured in this state", "capture it"
    return f"this capture did not look at {bus}", "capture again with this version of usbwatch"


def unseen_because(scene: Scene, bus: str) -> tuple[str, str]:
    """Why a bus could not be seen, and what would make it seen."""
    coverage = scene.coverage.get(bus)
    if coverage is None:
        return _not_looked_at(scene, bus)
    because = f"bus {bus} {coverage.state.value}" + (f": {coverage.why}" if coverage.why else "")
    if coverage.root_would_help:
        return because, "capture again as root"
    if coverage.why == NOT_OBSERVABLE:
        return because, "start Linux on this unit and capture there"
    if coverage.state is CoverageState.NOT_THERE and scene.capture.system.source == "tree":
        # The folder was left out in copying, or the kernel that was copied from had none: the copy does not tell.
        return because, f"copy the tree again, whole, under a kernel that supports {bus}"
    if coverage.state is CoverageState.NOT_THERE:
        return because, f"capture with a kernel that supports {bus}"
    return because, "capture again"
