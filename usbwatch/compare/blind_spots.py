"""Why the silence of a place or of a whole bus may mean nothing: what carries it is not at work."""

from __future__ import annotations

from usbwatch.compare.scene import Placing, Scene
from usbwatch.model import ExpectedDevice, Kind, Node, Rung, hangs_on, outward

__all__ = ["BUSES_OF_FUNCTION", "blind_spot", "has_real_connectors", "idle_carrier"]

BUSES_OF_FUNCTION: dict[str, tuple[str, ...]] = {
    "keyboard": ("usb", "serio", "i2c", "spi"),
    "pointing-device": ("usb", "serio", "i2c", "spi"),
    "touchpad": ("usb", "serio", "i2c", "spi"),
    "touchscreen": ("usb", "i2c", "spi"),
    "camera": ("usb", "pci"),
    "audio": ("pci", "usb"),
    "ethernet": ("pci", "usb"),
    "graphics": ("pci",),
    "usb-controller": ("pci",),
    "disk": ("nvme", "block", "pci"),
    "wlan": ("pci", "usb", "mmc"),
    "bluetooth": ("usb", "mmc"),
    "panel": ("drm",),
    "sensor": ("iio", "usb", "i2c"),
}
"""Where a part with a function can show (common practice, no source): all must be seen before it is missing."""


def idle_carrier(place: str, scene: Scene) -> str:
    """The location of the nearest PCI function on the way to a place when no driver holds it, else ""."""
    for other in outward(place):
        for node in scene.at.get(other, ()):
            if node.bus == "pci":
                return "" if node.driver else other
    return ""


def has_real_connectors(scene: Scene, graphics: str = "") -> bool:
    """Whether a graphics driver shows the hardware's connectors: a basic or virtual one does not."""
    return any(
        node.bus == "drm" and not node.name.startswith("Virtual") and node.location.startswith(graphics)
        for node in scene.capture.nodes
    )


_CLIENT_IDS = frozenset({"PNP0C50", "ACPI0C50"})
"""Firmware ids of HID devices on I2C (drivers/hid/i2c-hid/i2c-hid-acpi.c)."""

_CARRIER_CLASSES = {
    "usb": ("0c03",),
    "i2c": ("0c80", "0c05", "1180"),
    "spi": ("0c80", "1180"),
    "block": ("01", "0805"),
    "mmc": ("0805",),
}
"""Beginnings of PCI class codes of what carries a bus (pci.ids; on I2C and SPI common practice, no source)."""


def blind_spot(device: ExpectedDevice, scene: Scene) -> str:
    """Why a function that no node has may still be there: as a sentence, or ""."""
    for node in scene.capture.nodes:
        does = device.function in node.functions and node.kind in (Kind.DEVICE, Kind.FUNCTION)
        if does and scene.placing(node) is not Placing.OUTSIDE:
            return f"{node.identity or node.bus} at {node.location} does this too, beside something else"
    buses = BUSES_OF_FUNCTION.get(device.function, ("usb", "pci"))
    if "usb" in buses and not any(node.bus == "usb" for node in scene.capture.nodes):
        return "no USB bus came up at all"
    classes = tuple(code for bus in buses for code in _CARRIER_CLASSES.get(bus, ()))
    told = (_idle(node, buses, classes, scene) for node in scene.capture.nodes)
    return next(filter(None, told), "")


def _idle(node: Node, buses: tuple[str, ...], classes: tuple[str, ...], scene: Scene) -> str:
    """What a node that carries others fails to show, as a sentence, or ""."""
    code = str(node.facts.get("class", ""))
    if node.bus == "pci" and not node.driver and classes and code.startswith(classes):
        return f"the controller at {node.location} has no driver, so what is on it was not seen"
    hub = node.bus == "usb" and node.kind is not Kind.INTERFACE and "hub" in node.functions
    if "usb" in buses and hub and not node.rung.reaches(Rung.WORKING):
        return f"the hub at {node.location} does not work, so its ports were not seen"
    if "mmc" in buses and node.bus == "mmc" and _is_idle_part(node, scene):
        return f"no driver holds the SDIO card at {node.location}, so what it does was not seen"
    if "i2c" in buses and node.kind is Kind.DECLARED and node.rung is not Rung.ABSENT and _is_client(node, scene):
        return f"firmware declares a HID device ({node.location}) that the kernel made nothing of"
    return ""


_SDIO = ("SDIO", "SDcombo")
"""Types of cards that are parts of their own (drivers/mmc/core/bus.c); drivers hold their functions, not them."""


def _is_idle_part(card: Node, scene: Scene) -> bool:
    """Whether a card is such a part and nothing came of it."""
    below = any(hangs_on(other.location, card.location) for other in scene.capture.nodes)
    return card.facts.get("type") in _SDIO and not card.functions and not below


def _is_client(node: Node, scene: Scene) -> bool:
    """Whether a firmware object is an I2C HID device for which no client came up."""
    ids = {node.identity, *str(node.facts.get("compatible_ids", "")).split()}
    return bool(ids & _CLIENT_IDS) and all(other.bus == "acpi" for other in scene.at.get(node.location, ()))
