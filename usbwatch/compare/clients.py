"""I2C and SPI clients: each is firmware's declaration until a driver asks it (i2c-core-acpi.c, spi.c).

A driver that is loaded and holds nothing tells that a client is silent only
where it is known to ask each client of that id. Others turn clients away for
reasons of their own: another revision, a quirk, a supply that is not there.
"""

from __future__ import annotations

from enum import Enum

from usbwatch.compare.scene import Scene
from usbwatch.model import Kind, Node

__all__ = ["CLIENT_BUSES", "Asked", "asked", "is_client", "loaded_for", "made_for"]

CLIENT_BUSES = ("i2c", "spi")

_DRIVERS_BY_ID = {"PNP0C50": ("i2c_hid_acpi", "i2c_hid"), "ACPI0C50": ("i2c_hid_acpi", "i2c_hid")}
"""Firmware ids whose driver is known, and asks each of them (drivers/hid/i2c-hid/i2c-hid-acpi.c)."""

_HID_FAILED = "I2C HID failed"
"""A trouble of the kernel's log (``usbwatch.capture.log.troubles``)."""


class Asked(Enum):
    """How far the kernel got with a client."""

    HELD = "held"
    """A driver holds it."""
    FAILED = "failed"
    """A driver asked it and failed."""
    SILENT = "silent"
    """The driver that asks all of its kind is there and does not hold it."""
    WAITING = "waiting"
    """It waits for another device that supplies it."""
    LEFT_ALONE = "left alone"
    """A driver that is made for it is loaded and does not hold it, for a reason that is not known."""
    UNASKED = "unasked"
    """No driver for it is loaded."""


def is_client(node: Node) -> bool:
    """Whether a node is a client that needs a driver before anything is known of it."""
    return node.bus in CLIENT_BUSES and node.kind is Kind.DEVICE


def made_for(client: Node, scene: Scene) -> tuple[str, ...]:
    """The drivers that are made for a client, those that are known to ask it first."""
    return (*_known_drivers(client, scene), *scene.capture.software.drivers_for.get(client.location, ()))


def _known_drivers(client: Node, scene: Scene) -> tuple[str, ...]:
    declared = [other for other in scene.at.get(client.location, ()) if other.bus == "acpi"]
    said = " ".join(f"{one.identity} {one.facts.get('compatible_ids', '')}" for one in (client, *declared))
    return tuple(driver for identity in dict.fromkeys(said.split()) for driver in _DRIVERS_BY_ID.get(identity, ()))


def loaded_for(client: Node, scene: Scene) -> tuple[str, ...]:
    """Those of ``made_for`` that are loaded, in the same order."""
    coverage = scene.coverage.get(client.bus)
    loaded = {*(coverage.drivers if coverage is not None else ()), *scene.capture.software.loaded}
    return tuple(driver for driver in made_for(client, scene) if driver in loaded)


def asked(client: Node, scene: Scene) -> Asked:
    """How far the kernel got with a client, by what holds it, what the log tells and what is loaded."""
    if client.driver:
        return Asked.HELD
    if any(told.trouble == _HID_FAILED for told in scene.troubles.get(client.location, ())):
        return Asked.FAILED
    if str(client.facts.get("waiting_for_supplier", "0")) == "1":
        return Asked.WAITING
    loaded = loaded_for(client, scene)
    if not loaded:
        return Asked.UNASKED
    return Asked.SILENT if set(loaded) & set(_known_drivers(client, scene)) else Asked.LEFT_ALONE
