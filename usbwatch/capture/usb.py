"""USB devices, interfaces, hubs and ports as sysfs shows them.

Attributes: Documentation/ABI/stable/sysfs-bus-usb and testing/sysfs-bus-usb.
Port devices: drivers/usb/core/port.c. Read from descriptors that the kernel
holds; no device is asked anything.
"""

from __future__ import annotations

import re
from typing import Dict, Iterator, List, Tuple

from usbwatch.capture.decode.usb_classes import functions_of
from usbwatch.capture.decode.usb_descriptors import decode
from usbwatch.capture.functions import union
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "nodes"]

FOLDER = "sys/bus/usb/devices"

_PORT = re.compile(r"(?:usb\d+|\d+-[\d.]+)-port\d+\Z")

_SPEED = re.compile(r"([0-9]{1,6})(?:\.([0-9]))?\Z")
_POWER = re.compile(r"([0-9]{1,5})mA\Z")
_CLASS_PART = re.compile(r"[0-9a-f]{2}\Z")

_DEVICE_TEXTS = ("manufacturer", "product", "serial", "removable", "version", "bcdDevice", "quirks")
_DEVICE_NUMBERS = (
    "authorized",
    "bConfigurationValue",
    "bNumConfigurations",
    "bNumInterfaces",
    "bMaxPacketSize0",
    "maxchild",
    "rx_lanes",
    "tx_lanes",
)
_PORT_TEXTS = ("connect_type", "state", "location")

PORT_RUNGS: Dict[str, Rung] = {
    "not attached": Rung.ABSENT,
    "attached": Rung.ATTACHED,
    "powered": Rung.ATTACHED,
    "reconnecting": Rung.ATTACHED,
    "unauthenticated": Rung.ATTACHED,
    "default": Rung.ATTACHED,
    "addressed": Rung.ADDRESSED,
    "configured": Rung.CONFIGURED,
    "suspended": Rung.CONFIGURED,
}
"""The port's ``state`` (kernel 6.6 and later; USB 2.0 table 9-1 has the same words) on our scale."""


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every USB device, interface and port; root hubs count as infrastructure."""
    for name, folder in sight.devices(FOLDER):
        if ":" in name:
            yield from _interface(sight, places.of(folder), folder)
            for port in sight.names(folder):
                if _PORT.match(port):
                    yield _port(sight, places, f"{folder}/{port}")
        else:
            yield from _device(sight, places.of(folder), folder, root_hub=name.startswith("usb"))


def _class_triple(sight: Sight, folder: str, names: Tuple[str, str, str]) -> str:
    """``03/01/01``, "" unless all three parts are two hex digits."""
    parts = [sight.text(folder, name) for name in names]
    return "/".join(parts) if all(_CLASS_PART.match(part) for part in parts) else ""


def _device(sight: Sight, location: str, folder: str, *, root_hub: bool) -> Iterator[Node]:
    if "idVendor" not in sight.names(folder):
        return
    vendor, product = sight.text(folder, "idVendor"), sight.text(folder, "idProduct")
    facts = _device_facts(sight, folder)
    raw = {name: data.hex() for name in ("descriptors", "bos_descriptors") if (data := sight.blob(folder, name))}
    functions = _described(facts, raw.get("descriptors", ""))
    yield Node(
        bus="usb",
        location=location,
        kind=Kind.INFRASTRUCTURE if root_hub else Kind.DEVICE,
        rung=_device_rung(sight, folder, facts),
        identity=f"{vendor}:{product}" if vendor and product else "",
        name=str(facts.get("product", "")),
        functions=union(functions),
        driver=" ".join(_drivers(sight, folder)),
        facts=facts,
        raw=raw,
    )


def _drivers(sight: Sight, folder: str) -> List[str]:
    """Drivers of the device's interfaces; the device's own is the core's and says nothing."""
    interfaces = [name for name in sight.names(folder) if ":" in name]
    return sorted({driver for name in interfaces if (driver := sight.points_to(f"{folder}/{name}", "driver"))})


def _device_facts(sight: Sight, folder: str) -> Dict[str, Fact]:
    facts: Dict[str, Fact] = {**sight.facts(folder, *_DEVICE_TEXTS), **sight.numbers(folder, *_DEVICE_NUMBERS)}
    facts["class"] = _class_triple(sight, folder, ("bDeviceClass", "bDeviceSubClass", "bDeviceProtocol"))
    speed = _SPEED.match(sight.text(folder, "speed"))
    if speed:
        facts["speed_kbps"] = int(speed.group(1)) * 1000 + int((speed.group(2) or "0") + "00")
    power = _POWER.match(sight.text(folder, "bMaxPower"))
    if power:
        facts["max_power_ma"] = int(power.group(1))
    facts.update(sight.facts(f"{folder}/physical_location", "panel", "lid", "dock"))
    return facts


def _described(facts: Dict[str, Fact], descriptors: str) -> List[str]:
    """Functions that the descriptors claim; what is wrong with them is added to the facts."""
    decoded = decode(bytes.fromhex(descriptors))
    if descriptors and decoded.defects:
        first = decoded.defects[0]
        facts["descriptor_defects"] = len(decoded.defects)
        facts["first_descriptor_defect"] = f"offset {first.offset}: {first.problem}"
    triples = [
        interface.class_triple for configuration in decoded.configurations for interface in configuration.interfaces
    ]
    if decoded.device is not None:
        triples.append(decoded.device.class_triple)
    return [function for triple in triples for function in functions_of(*triple)]


def _device_rung(sight: Sight, folder: str, facts: Dict[str, Fact]) -> Rung:
    if not facts.get("bConfigurationValue"):
        return Rung.IDENTIFIED
    return Rung.BOUND if _drivers(sight, folder) else Rung.CONFIGURED


def _interface(sight: Sight, location: str, folder: str) -> Iterator[Node]:
    triple = _class_triple(sight, folder, ("bInterfaceClass", "bInterfaceSubClass", "bInterfaceProtocol"))
    if not triple:
        return
    driver = sight.points_to(folder, "driver")
    yield Node(
        bus="usb",
        location=location,
        kind=Kind.INTERFACE,
        rung=Rung.BOUND if driver else Rung.CONFIGURED,
        identity=triple,
        name=sight.text(folder, "interface"),
        functions=union(functions_of(*bytes.fromhex(triple.replace("/", "")))),
        driver=driver,
        facts=sight.numbers(folder, "authorized"),
    )


def _port(sight: Sight, places: Places, folder: str) -> Node:
    facts: Dict[str, Fact] = {
        **sight.facts(folder, *_PORT_TEXTS),
        **sight.numbers(folder, "over_current_count"),
        **sight.facts(f"{folder}/physical_location", "panel", "lid", "dock"),
    }
    peer = f"{folder}/peer"
    if sight.real(peer) != peer:
        facts["peer"] = places.of(sight.real(peer))
    taken = bool(sight.points_to(folder, "device"))
    rung = PORT_RUNGS.get(str(facts.get("state", "")), Rung.IDENTIFIED if taken else Rung.ABSENT)
    if taken and not rung.reaches(Rung.IDENTIFIED):
        rung = Rung.IDENTIFIED
    return Node(bus="usb-port", location=places.of(folder), kind=Kind.PORT, rung=rung, facts=facts)
