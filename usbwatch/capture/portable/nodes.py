"""The nodes of what libusb lists, in the terms of a capture of sysfs.

A location is that of sysfs where the controller is known (Linux), and begins
at an unknown controller's root hub where it is not: ``usb2/4.1``. Which of
two controllers a device hangs on is then not told, for libusb's bus numbers
follow the order in which it came upon them.
"""

from __future__ import annotations

from typing import Dict, Iterable, Iterator, List, Mapping, Optional, Set, Tuple

from usbwatch.capture.decode.usb_classes import functions_of
from usbwatch.capture.decode.usb_descriptors import decode
from usbwatch.capture.decode.usb_values import Configuration, Descriptors
from usbwatch.capture.functions import union
from usbwatch.capture.portable.listing import Listed
from usbwatch.capture.usb_described import described
from usbwatch.capture.usb_speeds import SUPERSPEED_KBPS
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["LISTED_AS_IMPLIED", "usb_nodes"]

LISTED_AS_IMPLIED = "implied"
"""Fact of a root hub that the list does not hold, but the devices on it do."""

_SPEEDS_KBPS: Dict[int, int] = {1: 1_500, 2: 12_000, 3: 480_000, 4: 5_000_000, 5: 10_000_000, 6: 20_000_000}
"""``enum libusb_speed`` (libusb.h)."""

_SUPERSPEED_RELEASE = 0x0300

_RootKey = Tuple[int, str]


def usb_nodes(devices: Iterable[Listed], root_hubs: Mapping[int, str]) -> List[Node]:
    """Root hubs, devices and the interfaces of their active configurations.

    ``root_hubs`` gives the location of each bus number's root hub where the
    system tells it, as Linux does.
    """
    listed = tuple(devices)
    carrying = {(one.bus, one.chain[:depth]) for one in listed for depth in range(len(one.chain))}
    found = list(_roots(listed, root_hubs))
    for one in listed:
        if one.chain:
            place = f"{_root(one, root_hubs)}/{'.'.join(map(str, one.chain))}"
            found.extend(_device(one, place, (one.bus, one.chain) in carrying))
    return found


def _generation(one: Listed) -> str:
    """Whose port numbering a device is in: by its own speed, else by the release of the standard it follows."""
    kbps = _SPEEDS_KBPS.get(one.speed, 0)
    fast = kbps >= SUPERSPEED_KBPS if kbps else int.from_bytes(one.device[2:4], "little") >= _SUPERSPEED_RELEASE
    return "usb3" if fast else "usb2"


def _root(one: Listed, root_hubs: Mapping[int, str]) -> str:
    return root_hubs.get(one.bus) or _generation(one)


def _roots(listed: Tuple[Listed, ...], root_hubs: Mapping[int, str]) -> Iterator[Node]:
    """A root hub for every bus and generation: the listed one, or where none is listed one that the devices imply.

    Windows lists one root hub for both generations of a controller; other systems one for each (from memory).
    """
    places: Dict[_RootKey, bool] = {(one.bus, _root(one, root_hubs)): True for one in listed if one.chain}
    own: Dict[int, Listed] = {one.bus: one for one in listed if not one.chain}
    used: Set[int] = {bus for bus, _ in places}
    places.update({(one.bus, _root(one, root_hubs)): False for one in own.values() if one.bus not in used})
    for (bus, place), carries in places.items():
        root = own.get(bus)
        if root is not None:
            yield from _device(root, place, carries, kind=Kind.INFRASTRUCTURE)
        else:
            facts: Dict[str, Fact] = {LISTED_AS_IMPLIED: 1}
            yield _root_hub(place, facts)


def _root_hub(place: str, facts: Dict[str, Fact]) -> Node:
    return Node(bus="usb", location=place, kind=Kind.INFRASTRUCTURE, rung=Rung.WORKING, functions=("hub",), facts=facts)


def _device(one: Listed, place: str, carries: bool, kind: Kind = Kind.DEVICE) -> Iterator[Node]:
    raw = one.device + b"".join(one.configurations)
    decoded = decode(raw)
    known = described(raw, b"")
    active = _active(one, decoded)
    yield Node(
        bus="usb",
        location=place,
        kind=kind,
        rung=_rung(one, carries, root=kind is Kind.INFRASTRUCTURE),
        identity=decoded.device.identity if decoded.device else "",
        functions=known.functions,
        facts={**known.facts, **_facts(one, decoded, active)},
        raw={"descriptors": raw.hex()},
    )
    if active is not None:
        yield from _interfaces(active, place, configured=bool(one.active))


def _rung(one: Listed, carries: bool, *, root: bool) -> Rung:
    """A hub is at work when something on it is listed; of anything else only the configuration is told."""
    if carries or root:
        return Rung.WORKING
    return Rung.CONFIGURED if one.active else Rung.IDENTIFIED


def _active(one: Listed, decoded: Descriptors) -> Optional[Configuration]:
    """The configuration in use; the only one, where it is not told which is."""
    if one.active is None and len(decoded.configurations) == 1:
        return decoded.configurations[0]
    return next((each for each in decoded.configurations if one.active and each.value == one.active), None)


def _facts(one: Listed, decoded: Descriptors, active: Optional[Configuration]) -> Dict[str, Fact]:
    """By the names that sysfs has for them, so that captures of both kinds compare."""
    facts: Dict[str, Fact] = {}
    device = decoded.device
    if device is not None:
        release = device.bcd_usb
        facts["version"] = f"{release >> 8:x}.{release & 0xFF:02x}"
        facts["bcdDevice"] = f"{device.bcd_device:04x}"
        facts["bNumConfigurations"] = device.num_configurations
        facts["bMaxPacketSize0"] = device.max_packet_size_0
        facts["class"] = _triple(device.class_triple)
    if one.active is not None:
        facts["bConfigurationValue"] = one.active
    if one.speed in _SPEEDS_KBPS:
        facts["speed_kbps"] = _SPEEDS_KBPS[one.speed]
    if active is not None:
        facts["bNumInterfaces"] = active.num_interfaces
        facts["max_power_ma"] = active.max_power_ma(superspeed=_generation(one) == "usb3")
    if one.unread:
        facts["configurations_unread"] = one.unread
    return facts


def _triple(triple: Tuple[int, int, int]) -> str:
    return "/".join(f"{code:02x}" for code in triple)


def _interfaces(active: Configuration, place: str, *, configured: bool) -> Iterator[Node]:
    """The first alternate setting of each interface; which setting is in use is not told."""
    numbers: Set[int] = set()
    for interface in active.interfaces:
        if interface.number in numbers:
            continue
        numbers.add(interface.number)
        yield Node(
            bus="usb",
            location=f"{place}/if{interface.number}",
            kind=Kind.INTERFACE,
            rung=Rung.CONFIGURED if configured else Rung.IDENTIFIED,
            identity=_triple(interface.class_triple),
            functions=union(functions_of(*interface.class_triple)),
        )
