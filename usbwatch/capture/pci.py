"""PCI functions: identity, class, driver, and the link they run at.

Attributes: drivers/pci/pci-sysfs.c. Class codes: pci.ids. The kernel holds
all of them but the link's, for which it reads the function's configuration
space: those are asked for only while the function is awake.
"""

from __future__ import annotations

from typing import Iterator

from usbwatch.capture.functions import of_pci_class
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Kind, Node, Rung

__all__ = ["FOLDER", "is_awake", "nodes"]

FOLDER = "sys/bus/pci/devices"

_CARRIERS = ("05", "06", "08", "0b", "0c", "0106", "0101", "0180", "07", "11", "ff")
"""Beginnings of class codes of functions that carry or serve others: bridges, controllers, memory, processors."""

_AWAKE = ("active", "unsupported", "")
"""Words of ``runtime_status`` with which a read wakes nothing (Documentation/ABI/testing/sysfs-devices-power)."""

_LINK = ("current_link_speed", "current_link_width", "max_link_speed", "max_link_width")


def is_awake(sight: Sight, folder: str) -> bool:
    """Whether a read of the device in a folder wakes nothing; so too where the kernel tells nothing of its sleep."""
    return sight.text(folder, "power/runtime_status") in _AWAKE


def _digits(text: str) -> str:
    """The kernel's ``0x0c0330`` without its prefix."""
    return text.replace("0x", "", 1)


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every PCI function."""
    for _, folder in sight.devices(FOLDER):
        vendor, device = (_digits(sight.text(folder, part)) for part in ("vendor", "device"))
        if not vendor:
            continue
        code = _digits(sight.text(folder, "class"))
        functions = of_pci_class(code)
        carrier = code.startswith(_CARRIERS) and functions != ("card-reader",)
        driver = sight.points_to(folder, "driver")
        yield Node(
            bus="pci",
            location=places.of(folder),
            kind=Kind.INFRASTRUCTURE if carrier else Kind.DEVICE,
            rung=Rung.BOUND if driver else Rung.IDENTIFIED,
            identity=f"{vendor}:{device}",
            functions=functions,
            driver=driver,
            facts={
                "class": code,
                "subsystem": ":".join(
                    _digits(sight.text(folder, part)) for part in ("subsystem_vendor", "subsystem_device")
                ),
                **sight.facts(folder, "revision", "removable"),
                **(sight.facts(folder, *_LINK) if is_awake(sight, folder) else {}),
            },
        )
