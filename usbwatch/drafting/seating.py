"""Where each device of a capture sits in a layout, and what it depends on, from the processor outward."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from usbwatch.drafting.census import Resident
from usbwatch.drafting.layout import Layout, Seat
from usbwatch.model import Node, hangs_on

__all__ = ["needs_of", "seat_of"]

_SECTIONS = {
    "usb": "mainboard-usb",
    "block": "mainboard-sata",
    "mmc": "mainboard-memory-card",
    "i2c": "mainboard-i2c",
    "spi": "mainboard-spi",
    "acpi": "mainboard-ec",
    "serio": "mainboard-ec",
    "hwmon": "mainboard-ec",
}
"""The section of the mainboard that drives a bus; on every other bus it is the PCI Express section."""

_CARRIERS = frozenset({"usb-controller", "hub", "graphics", "audio"})
"""Functions of devices that others depend on."""

_MAINBOARD = Seat(functions=(), within="mainboard")


def seat_of(one: Resident, layout: Layout, port: Node | None) -> Seat:
    """The seat of a device; ``port`` is the USB port that it is in, whose firmware may tell the display half."""
    if _in_display_half(one.node, port) and one.function not in ("hub", "panel", "touchscreen", "pen"):
        return layout.display_half
    return next((seat for seat in layout.seats if seat.takes(one.function, one.node)), _MAINBOARD)


def _in_display_half(node: Node, port: Node | None) -> bool:
    """Documentation/ABI/testing/sysfs-devices-physical_location: ``lid`` says whether it is in the lid."""
    return "yes" in (node.facts.get("lid"), port.facts.get("lid") if port is not None else "")


def needs_of(one: Resident, seat: Seat, ids: Mapping[str, str], residents: Sequence[Resident]) -> tuple[str, ...]:
    """Ids of what a device depends on; ``ids`` are those of the devices by location."""
    return (_carrier(one, ids, residents), *seat.path)


def _carrier(one: Resident, ids: Mapping[str, str], residents: Sequence[Resident]) -> str:
    """The nearest device that carries it, else the section that drives its bus."""
    if one.function == "usb-controller":
        return "mainboard-usb"
    beneath = (other for other in residents if _carries(other, one))
    nearest = max(beneath, key=lambda other: len(other.node.location), default=None)
    if nearest is not None:
        return ids[nearest.node.location]
    return _SECTIONS.get(one.node.bus, "mainboard-pci")


def _carries(other: Resident, one: Resident) -> bool:
    return other.function in _CARRIERS and hangs_on(one.node.location, other.node.location)
