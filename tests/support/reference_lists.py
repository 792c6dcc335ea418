"""What reference libraries list on this machine or, under ``umockdev-wrapper``, in a copied tree.

Run as a program (``python -m support.reference_lists pyudev`` or ``pyusb``) it
prints JSON; umockdev redirects ``/sys`` for a whole process, so the copied
tree's list must come from a process of its own.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from support.needs import needed_library, needed_tool

__all__ = ["copy_of", "pyudev_list", "pyusb_list", "under_umockdev"]

_ATTRIBUTES = (
    "address",
    "bInterfaceClass",
    "bInterfaceProtocol",
    "bInterfaceSubClass",
    "description",
    "device",
    "edid",
    "hid",
    "idProduct",
    "idVendor",
    "name",
    "path",
    "state",
    "type",
    "vendor",
    "vendor_id",
)

Record = dict[str, Any]


def pyudev_list() -> list[Record]:
    """Every device that libudev enumerates, with its driver and a few attributes."""
    needed_library("udev", "libudev1")
    import pyudev

    records = []
    for device in pyudev.Context().list_devices():
        attributes = {}
        for name in _ATTRIBUTES:
            try:
                attributes[name] = device.attributes.get(name).decode("latin-1").strip()
            except (AttributeError, KeyError, OSError):
                continue
        records.append(
            {
                "subsystem": device.subsystem,
                "path": device.sys_path,
                "name": device.sys_name,
                "driver": device.driver or "",
                "type": device.device_type or "",
                "attributes": attributes,
                "properties": dict(device.properties),
                "physical_driver": _link_name(f"{device.sys_path}/physical_node/driver"),
            }
        )
    return records


def _link_name(path: str) -> str:
    """Last element of what a link names, "" where there is no link."""
    try:
        return Path(path).readlink().name
    except OSError:
        return ""


def pyusb_list() -> list[Record]:
    """Every USB device that libusb enumerates."""
    import usb.core

    return [
        {
            "identity": f"{device.idVendor:04x}:{device.idProduct:04x}",
            "bus": device.bus,
            "ports": list(device.port_numbers or ()),
            "speed": device.speed,
            "interfaces": sorted(
                {
                    (interface.bInterfaceNumber, interface.bInterfaceClass)
                    for configuration in device
                    for interface in configuration
                }
            ),
        }
        for device in usb.core.find(find_all=True)
    ]


def copy_of(root: Path, folder: Path) -> Path:
    """A copy of a tree that a process may leave things in; its files are the same ones, so they must not be written."""
    unread = shutil.ignore_patterns("power", "module", "firmware", "wakeup*")
    return Path(shutil.copytree(root, folder, symlinks=True, copy_function=os.link, ignore=unread))


def under_umockdev(root: Path, library: str) -> list[Record]:
    """What a library lists in the tree at ``root``, which umockdev leaves a socket in: give a copy."""
    wrapper = needed_tool("umockdev-wrapper", "umockdev")
    needed_library("usb-1.0", "libusb-1.0-0")
    needed_library("udev", "libudev1")
    done = subprocess.run(
        [wrapper, sys.executable, "-m", "support.reference_lists", library],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "UMOCKDEV_DIR": str(root), "PYTHONPATH": ":".join(filter(None, sys.path))},
    )
    assert done.returncode == 0, done.stderr
    records: list[Record] = json.loads(done.stdout)
    return records


if __name__ == "__main__":
    json.dump({"pyudev": pyudev_list, "pyusb": pyusb_list}[sys.argv[1]](), sys.stdout)
