"""Disks: NVMe controllers and block devices (no volume, no label, no content)."""

from __future__ import annotations

import re
from typing import Dict, Iterator, Tuple

from usbwatch.capture.mmc import is_soldered
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["BLOCK_FOLDER", "NVME_FOLDER", "block_nodes", "nvme_nodes"]

BLOCK_FOLDER = "sys/class/block"
NVME_FOLDER = "sys/class/nvme"

_CARRIED = ("/usb", "/nvme", "/mmc/card")
"""Locations in which a device of its own carries the block device."""
_PART_OF_A_CARD = re.compile(r"mmcblk\d+(?:boot|gp|rpmb)\d*\Z")
"""Hardware partitions of an eMMC: disks of their own to the block layer (drivers/mmc/core/block.c)."""
_OPTICAL = 5
"""Peripheral device type of a CD or DVD drive (SPC-3 table 83; include/scsi/scsi_proto.h TYPE_ROM)."""
_SATA_LINK = re.compile(r"(sys/devices/.+/ata(\d+))/")
_GBPS = re.compile(r"([0-9])(?:\.([0-9]))? Gbps\Z")


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
    for name, folder in sight.devices(BLOCK_FOLDER):
        if sight.number(folder, "partition") is not None or _PART_OF_A_CARD.match(name):
            continue
        location = places.of(folder)
        removable = sight.number(folder, "removable")  # an empty card reader has no size, and is well
        yield Node(
            bus="block",
            location=location,
            kind=Kind.FUNCTION if any(hop in location for hop in _CARRIED) else Kind.DEVICE,
            rung=Rung.IDENTIFIED if sight.number(folder, "size") == 0 and not removable else Rung.WORKING,
            name=sight.text(folder, "device/model"),
            functions=_functions(sight, folder, location),
            facts={**sight.numbers(folder, "size", "removable", "ro"), **_sata_link(sight, folder)},
        )


def _functions(sight: Sight, folder: str, location: str) -> Tuple[str, ...]:
    """``disk`` for what can be a disk of the unit; what is on a cable, in a drive or in a reader is ``storage``."""
    kind = sight.text(folder, "device/type")
    on_card = "/mmc/card" in location
    medium = not is_soldered(kind, location) if on_card else kind == str(_OPTICAL)
    return ("storage",) if medium or "/usb" in location else ("disk",)


def _sata_link(sight: Sight, folder: str) -> Dict[str, Fact]:
    """The speed of a SATA disk's link, and what the disk and the kernel allow (Documentation/ABI/testing/sysfs-ata).

    In the kernel's words, and in kbit/s under names of our own. Behind a port
    multiplier each disk has a link of its own, which is not looked for.
    """
    port = _SATA_LINK.match(folder)
    if not port:
        return {}
    link = f"{port.group(1)}/link{port.group(2)}/ata_link/link{port.group(2)}"
    told = sight.facts(link, "sata_spd", "sata_spd_limit", "hw_sata_spd_limit")
    speeds = {name: _GBPS.match(str(text)) for name, text in told.items()}
    facts: Dict[str, Fact] = {name: text for name, text in told.items() if speeds[name]}
    for name, ours in (("sata_spd", "speed_kbps"), ("hw_sata_spd_limit", "speed_limit_kbps")):
        speed = speeds.get(name)
        if speed:
            facts[ours] = int(speed.group(1)) * 1_000_000 + int(speed.group(2) or 0) * 100_000
    return facts
