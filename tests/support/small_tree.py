"""A small tree made by hand in the shape of the kernel's own: a battery, an adapter, a panel's connector.

The battery's values are those of the emulated laptop as a real kernel gives them.
"""

from __future__ import annotations

import errno
from dataclasses import dataclass, field

from usbwatch.model import Capture, Kind, Node, Rung, System, UnitStrings

__all__ = [
    "AC",
    "BAT",
    "BATTERY_DEVICE",
    "EDP",
    "MAINS",
    "MAINS_DEVICE",
    "TALKING",
    "SmallTree",
    "laptop",
    "laptop_tree",
]

BAT = "sys/devices/LNXSYSTM:00/LNXSYBUS:00/PNP0C0A:00/power_supply/BAT0"
AC = "sys/devices/LNXSYSTM:00/LNXSYBUS:00/ACPI0003:00/power_supply/AC0"
EDP = "sys/devices/pci0000:00/0000:00:02.0/drm/card0/card0-eDP-1"
TALKING = (
    "POWER_SUPPLY_NAME=BAT0\nPOWER_SUPPLY_TYPE=Battery\nPOWER_SUPPLY_PRESENT=1\nPOWER_SUPPLY_VOLTAGE_NOW=11912000\n"
    "POWER_SUPPLY_CHARGE_FULL=4105000\nPOWER_SUPPLY_CHARGE_NOW=2545000\nPOWER_SUPPLY_CYCLE_COUNT=87\n"
)
MAINS = "POWER_SUPPLY_NAME=AC0\nPOWER_SUPPLY_TYPE=Mains\nPOWER_SUPPLY_ONLINE={}\n"
BATTERY_DEVICE, MAINS_DEVICE = ("acpi", "acpi/_SB_.BAT0"), ("acpi", "acpi/_SB_.AC0")


@dataclass
class SmallTree:
    """Files and links by path; an error number in place of a file's content is what reading it gives."""

    files: dict[str, str | int] = field(default_factory=dict)
    links: dict[str, str] = field(default_factory=dict)
    source = "live"

    def points(self, folder: str, subsystem: str) -> None:
        """Say of which subsystem the device in a folder is."""
        self.links[f"{folder}/subsystem"] = "../" * folder.count("/") + subsystem

    def list(self, path: str) -> tuple[str, ...]:
        names = {one[len(path) + 1 :].split("/")[0] for one in (*self.files, *self.links) if one.startswith(path + "/")}
        if not names:
            raise FileNotFoundError(errno.ENOENT, "no such folder", path)
        return tuple(sorted(names))

    def read(self, path: str, limit: int = 65_536) -> bytes:
        content = self.files.get(path, errno.ENOENT)
        if isinstance(content, int):
            raise OSError(content, "cannot be read", path)
        return content.encode()[:limit]

    def link(self, path: str) -> str:
        if path not in self.links:
            raise OSError(errno.EINVAL, "no link", path)
        return self.links[path]


def laptop_tree() -> SmallTree:
    tree = SmallTree()
    for folder, uevent in ((BAT, TALKING), (AC, MAINS.format(1))):
        name = folder.rpartition("/")[2]
        tree.files[f"{folder}/uevent"] = uevent
        tree.links[f"sys/class/power_supply/{name}"] = f"../../{folder[4:]}"
        above = folder.rpartition("/power_supply/")[0]
        tree.files[f"{above}/path"] = f"\\_SB_.{name}\n"
        tree.points(above, "bus/acpi")
        tree.points(folder, "class/power_supply")
    tree.files[f"{EDP}/status"] = "connected\n"
    tree.links["sys/class/drm/card0-eDP-1"] = f"../../{EDP[4:]}"
    tree.points("sys/devices/pci0000:00/0000:00:02.0", "bus/pci")
    tree.points("sys/devices/pci0000:00/0000:00:02.0/drm/card0", "class/drm")
    tree.points(EDP, "class/drm")
    return tree


def laptop() -> Capture:
    nodes = (
        Node(bus="acpi", location="acpi/_SB_.AC0", kind=Kind.DEVICE, rung=Rung.WORKING, functions=("mains-adapter",)),
        Node(bus="acpi", location="acpi/_SB_.BAT0", kind=Kind.DEVICE, rung=Rung.WORKING, functions=("battery",)),
        Node(bus="power_supply", location="acpi/_SB_.BAT0/power_supply", kind=Kind.FUNCTION, rung=Rung.WORKING),
    )
    unit = UnitStrings()
    return Capture(taken_at="", tool="", system=System(platform="linux"), unit=unit, coverage=(), nodes=nodes)
