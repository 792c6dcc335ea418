"""Disks: NVMe controllers and block devices (no volume, no label, no content)."""

from __future__ import annotations

from typing import Iterator

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Kind, Node, Rung

__all__ = ["BLOCK_FOLDER", "NVME_FOLDER", "block_nodes", "nvme_nodes"]

BLOCK_FOLDER = "sys/class/block"
NVME_FOLDER = "sys/class/nvme"

_CARRIED = ("/usb", "/nvme")
"""Locations in which a device of its own carries the block device."""


def nvme_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every NVMe controller (drivers/nvme/host/sysfs.c)."""
    for _, folder in sight.devices(NVME_FOLDER):
        facts = sight.facts(folder, "model", "serial", "firmware_rev", "state", "transport")
        yield Node(
            bus="nvme",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.WORKING if facts.get("state") == "live" else Rung.IDENTIFIED,
            name=str(facts.get("model", "")),
            functions=("disk",),
            facts=facts,
        )


def block_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every whole disk of hardware; partitions and virtual block devices are left out."""
    for _, folder in sight.devices(BLOCK_FOLDER):
        if sight.number(folder, "partition") is not None:
            continue
        location = places.of(folder)
        removable = sight.number(folder, "removable")  # an empty card reader has no size, and is well
        yield Node(
            bus="block",
            location=location,
            kind=Kind.FUNCTION if any(hop in location for hop in _CARRIED) else Kind.DEVICE,
            rung=Rung.IDENTIFIED if sight.number(folder, "size") == 0 and not removable else Rung.WORKING,
            name=sight.text(folder, "device/model"),
            functions=("storage",) if "/usb" in location else ("disk",),
            facts=sight.numbers(folder, "size", "removable", "ro"),
        )
