"""The laptops that fleets are made of: three invented ones, and a wide one of 60 devices.

What belongs to a laptop is told by its profile, which was written by hand
before anything was learnt; the wide one is made here, so its parts are known.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

from usbwatch.capture import load
from usbwatch.model import Capture, Kind, Node, Rung

__all__ = ["Layout", "Part", "layouts", "wide"]

_HOME = Path(__file__).resolve().parents[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A device that a laptop is built with."""

    place: str
    bus: str
    function: str
    identity: str
    driver: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A healthy unit, its parts, its sockets, and the ports to which a part could move."""

    name: str
    capture: Capture
    parts: tuple[Part, ...]
    sockets: tuple[str, ...]
    spare: tuple[str, ...]


_FILES = (
    ("larch-13-healthy", "fernhill-larch-13", ()),
    ("heron-14-healthy", "brackwell-heron-14", ()),
    ("plover-12-healthy", "ostrey-plover-12", ("pci0000:00/1d.0/00.0",)),
)
"""A capture, the profile of its model, and places of devices to which that profile gives none."""


def layouts() -> tuple[Layout, ...]:
    """USB-heavy with an internal hub; I2C and PS/2 with a Type-C controller; SPI, I2C and USB without a hub."""
    return tuple(_shipped(*names) for names in _FILES)


def _shipped(capture: str, profile: str, more: tuple[str, ...]) -> Layout:
    unit = load(str(_HOME / "captures" / f"{capture}.json"))
    document = tomllib.loads((_HOME / "profiles" / f"{profile}.toml").read_text(encoding="utf-8"))
    named = [device.get("location", []) for device in document["device"].values()]
    places = {place for one in named for place in ([one] if isinstance(one, str) else one)} | {*more}
    return _layout(capture, unit, places)


_OWN = ("usb", "pci", "i2c", "spi", "acpi", "drm", "serio")


def _layout(name: str, unit: Capture, places: set[str]) -> Layout:
    at: dict[str, list[Node]] = {}
    for node in unit.nodes:
        if node.location in places and node.bus in _OWN and node.rung is not Rung.ABSENT:
            at.setdefault(node.location, []).append(node)
    parts = []
    for place, nodes in sorted(at.items()):
        node = min(nodes, key=lambda one: (one.kind is Kind.DECLARED, one.bus == "acpi"))
        function = node.functions[-1] if node.functions else ""
        parts.append(Part(place=place, bus=node.bus, function=function, identity=node.identity, driver=node.driver))
    ports = [node for node in unit.nodes if node.bus == "usb-port" and "/usb2/" in node.location]
    return Layout(
        name=name,
        capture=unit,
        parts=tuple(parts),
        sockets=tuple(node.location for node in ports if node.facts.get("connect_type") == "hotplug"),
        spare=tuple(node.location for node in ports if node.facts.get("connect_type") == "not used"),
    )


_KINDS = (
    ("camera", "0e/01/00", "uvcvideo"),
    ("bluetooth", "e0/01/01", "btusb"),
    ("keyboard", "03/01/01", "usbhid"),
    ("touchpad", "03/00/00", "usbhid"),
    ("storage", "08/06/50", "usb-storage"),
    ("audio", "01/01/00", "snd-usb-audio"),
    ("smart-card-reader", "0b/00/00", ""),
)


def wide(devices: int = 60) -> Layout:
    """The first laptop with further controllers, hubs and devices, so that it has ``devices`` of them."""
    base = layouts()[0]
    nodes = list(base.capture.nodes)
    template = {node.bus: node for node in nodes if node.location == "pci0000:00/14.0/usb2/5"}
    places = {part.place for part in base.parts}
    wanted = devices - len(places)
    controller = 0
    while wanted > 0:
        wanted -= _add_controller(nodes, places, template, controller, wanted)
        controller += 1
    unit = replace(base.capture, nodes=tuple(sorted(nodes, key=lambda node: (node.location, node.bus))))
    return _layout("wide", unit, places)


_PORTS = 8


def _add_controller(nodes: list[Node], places: set[str], template: dict[str, Node], number: int, wanted: int) -> int:
    """One more USB controller with up to eight devices; how many of ``wanted`` that made."""
    base = f"pci0000:00/{0x08 + number:02x}.0"
    xhci = next(node for node in nodes if node.location == "pci0000:00/14.0")
    root = next(node for node in nodes if node.location == "pci0000:00/14.0/usb2" and node.bus == "usb")
    nodes += [replace(xhci, location=base), replace(root, location=f"{base}/usb2")]
    places.add(base)
    made = 1
    for port in range(1, _PORTS + 1):
        if made >= wanted:
            break
        function, triple, driver = _KINDS[(number + port) % len(_KINDS)]
        place = f"{base}/usb2/{port}"
        rung = Rung.WORKING if driver else Rung.CONFIGURED
        identity = f"1209:{1 + (number * _PORTS + port) % 16:04x}"
        device = replace(
            template["usb"],
            location=place,
            identity=identity,
            name=f"Wide {function} {port}",
            functions=(function,),
            driver=driver,
            rung=rung,
        )
        interface = replace(device, location=f"{place}/if0", kind=Kind.INTERFACE, identity=triple, name="", facts={})
        nodes += [replace(template["usb-port"], location=place), device, interface]
        places.add(place)
        made += 1
    return made
