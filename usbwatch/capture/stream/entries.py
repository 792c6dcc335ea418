"""The entries of the buses in sysfs: which devices are there, each with a number that no later stay has.

One listing of a bus' folder gives names and inode numbers, and no device is
asked anything. sysfs numbers its entries by a counter that runs on
(``idr_alloc_cyclic`` in fs/kernfs/dir.c), so a device that left and came
again between two looks has another number (for kernels before 4.18 or so,
which could give the same one again, that is not certain; from memory).
"""

from __future__ import annotations

import os
import re
from typing import Dict, List, NamedTuple, Tuple

__all__ = ["BUSES", "INTERFACE", "Entry", "WatchedBus", "entries", "interfaces", "is_device"]


class WatchedBus(NamedTuple):
    """A bus whose devices come and go."""

    bus: str
    """As in ``Node.bus``."""
    folder: str
    subsystem: str
    """As the kernel's events call it."""
    wanted: str
    """Shape of the names that are of devices."""


BUSES: Tuple[WatchedBus, ...] = (
    WatchedBus("pci", "sys/bus/pci/devices", "pci", r".+"),
    WatchedBus("usb", "sys/bus/usb/devices", "usb", r"\d+-[\d.]+"),
    WatchedBus("serio", "sys/bus/serio/devices", "serio", r".+"),
    WatchedBus("i2c", "sys/bus/i2c/devices", "i2c", r"(?!i2c-\d+\Z).+"),
    WatchedBus("spi", "sys/bus/spi/devices", "spi", r".+"),
    WatchedBus("mmc", "sys/bus/mmc/devices", "mmc", r".+"),
    WatchedBus("block", "sys/class/block", "block", r"(?:sd[a-z]+|sr\d+)"),
    WatchedBus("hdaudio", "sys/bus/hdaudio/devices", "hdaudio", r".+"),
    WatchedBus("soundwire", "sys/bus/soundwire/devices", "soundwire", r"sdw:.+"),
    WatchedBus("thunderbolt", "sys/bus/thunderbolt/devices", "thunderbolt", r"\d+-[\da-f]+"),
    WatchedBus("typec", "sys/class/typec", "typec", r"port\d+-(?:partner|cable)"),
)
"""Every bus that is watched. Batteries, adapters and displays are read instead: see ``readings``."""

_WANTED = {one.bus: re.compile(rf"(?:{one.wanted})\Z") for one in BUSES}
INTERFACE = re.compile(r"(\d+-[\d.]+):\d+\.\d+\Z")
"""Name of a USB interface: that of its device, configuration and number."""


class Entry(NamedTuple):
    """One entry of a bus."""

    bus: str
    name: str


def is_device(bus: str, name: str) -> bool:
    """Whether an entry of that name is one of a device that is watched."""
    return bus in _WANTED and _WANTED[bus].match(name) is not None


def entries() -> Dict[Entry, int]:
    """Inode number of each watched device; a bus that is not there has none."""
    return {
        Entry(one.bus, name): number
        for one in BUSES
        for name, number in _listed(one.folder)
        if is_device(one.bus, name)
    }


def interfaces() -> Tuple[str, ...]:
    """Names of all USB interfaces, sorted."""
    return tuple(sorted(name for name, _ in _listed("sys/bus/usb/devices") if INTERFACE.match(name)))


def _listed(folder: str) -> List[Tuple[str, int]]:
    try:
        with os.scandir(f"/{folder}") as listing:
            return [(entry.name, entry.inode()) for entry in listing]
    except OSError:
        return []
