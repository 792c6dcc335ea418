"""USB devices and interfaces as sysfs shows them; ports are in ``usb_ports``.

Attributes: Documentation/ABI/stable/sysfs-bus-usb and testing/sysfs-bus-usb.
Read from descriptors that the kernel holds; no device is asked anything.
"""

from __future__ import annotations

import re
from typing import Dict, Iterator, List, Mapping, Optional, Sequence, Tuple

from usbwatch.capture.decode.usb_classes import functions_of
from usbwatch.capture.functions import union
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.capture.usb_described import described
from usbwatch.capture.usb_ports import ports
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "nodes", "speed_kbps"]

FOLDER = "sys/bus/usb/devices"

_SPEED = re.compile(r"([0-9]{1,6})(?:\.([0-9]))?\Z")
_POWER = re.compile(r"([0-9]{1,5})mA\Z")
_CLASS_TRIPLE = re.compile(r"[0-9a-f]{2}/[0-9a-f]{2}/[0-9a-f]{2}\Z")

_RAW = ("descriptors", "bos_descriptors")
_DEVICE_TEXTS = ("manufacturer", "product", "serial", "removable", "version", "bcdDevice", "quirks")
_DEVICE_CLASS = ("bDeviceClass", "bDeviceSubClass", "bDeviceProtocol")
_IDENTITY = {"idVendor", "idProduct"}
_DEVICE_OTHERS = ("idVendor", "idProduct", *_DEVICE_CLASS, "speed", "bMaxPower")
"""What becomes identity or a fact in other words than the kernel's."""
_INTERFACE_CLASS = ("bInterfaceClass", "bInterfaceSubClass", "bInterfaceProtocol")
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


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every USB device, interface and port; root hubs count as infrastructure."""
    for name, folder in sight.devices(FOLDER):
        if ":" in name:
            yield from _interface(sight, places.of(folder), folder)
            yield from ports(sight, places, folder)
        else:
            yield from _device(sight, places.of(folder), folder, root_hub=name.startswith("usb"))


def _class_triple(texts: Mapping[str, str], names: Tuple[str, str, str]) -> str:
    """``03/01/01``, "" unless all three parts are two hex digits."""
    triple = "/".join(texts.get(name, "") for name in names)
    return triple if _CLASS_TRIPLE.match(triple) else ""


def _device(sight: Sight, location: str, folder: str, *, root_hub: bool) -> Iterator[Node]:
    if "idVendor" not in sight.names(folder):
        return
    texts = dict(sight.texts(folder, _DEVICE_OTHERS))
    facts = {**_device_facts(sight, folder), **_judged_facts(texts)}
    facts.update(sight.facts(f"{folder}/physical_location", "panel", "lid", "dock"))
    blobs = {name: sight.blob(folder, name) for name in _RAW}
    told = described(**blobs)
    facts.update(told.facts)
    drivers = _drivers(sight, folder)
    yield Node(
        bus="usb",
        location=location,
        kind=Kind.INFRASTRUCTURE if root_hub else Kind.DEVICE,
        rung=_device_rung(facts, drivers),
        identity=f"{texts['idVendor']}:{texts['idProduct']}" if texts.keys() >= _IDENTITY else "",
        name=str(facts.get("product", "")),
        functions=told.functions,
        driver=" ".join(drivers),
        facts=facts,
        raw={name: data.hex() for name, data in blobs.items() if data},
    )


def _drivers(sight: Sight, folder: str) -> List[str]:
    """Drivers of the device's interfaces; the device's own is the core's and says nothing."""
    interfaces = [name for name in sight.names(folder) if ":" in name]
    return sorted({driver for name in interfaces if (driver := sight.points_to(f"{folder}/{name}", "driver"))})


def _device_facts(sight: Sight, folder: str) -> Dict[str, Fact]:
    """What becomes a fact as the kernel says it."""
    return {**sight.facts(folder, *_DEVICE_TEXTS), **sight.numbers(folder, *_DEVICE_NUMBERS)}


def _judged_facts(texts: Mapping[str, str]) -> Dict[str, Fact]:
    """What becomes a fact in other words or units than the kernel's."""
    facts: Dict[str, Fact] = {"class": _class_triple(texts, _DEVICE_CLASS)}
    speed = speed_kbps(texts.get("speed", ""))
    if speed is not None:
        facts["speed_kbps"] = speed
    power = _POWER.match(texts.get("bMaxPower", ""))
    if power:
        facts["max_power_ma"] = int(power.group(1))
    return facts


def speed_kbps(text: str) -> Optional[int]:
    """The attribute ``speed``, which is in Mbit/s (``1.5``, ``480``), in kbit/s; None for any other text."""
    speed = _SPEED.match(text)
    return int(speed.group(1)) * 1000 + int((speed.group(2) or "0") + "00") if speed else None


def _device_rung(facts: Mapping[str, Fact], drivers: Sequence[str]) -> Rung:
    if not facts.get("bConfigurationValue"):
        return Rung.IDENTIFIED
    return Rung.BOUND if drivers else Rung.CONFIGURED


def _interface(sight: Sight, location: str, folder: str) -> Iterator[Node]:
    triple = _class_triple(dict(sight.texts(folder, _INTERFACE_CLASS)), _INTERFACE_CLASS)
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
