"""The capture against libudev, by the reference library pyudev: on this machine, and in real and invented trees.

What libudev enumerates of the kinds that a capture reads is in the capture,
with the same driver and the same ids, and the other way round. Locations are
worked out here a second time, from libudev's paths alone. umockdev shows a
copied tree to libudev as this machine's ``/sys``.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.looking import look
from support.reference_lists import Record, copy_of, pyudev_list, under_umockdev
from support.sysfs import Conditions, build
from support.units import FOREIGN_KEYBOARD, HERON, LARCH, MOUSE, PLOVER, RADIO_DONGLE, STICK

from usbwatch.capture import LiveTree, take
from usbwatch.model import Capture, Kind

_Tree = Callable[..., Path]
_Rows = dict[str, Counter[tuple[str, ...]]]
_Told = Callable[[Record, dict[str, str]], tuple[str, ...]]

_SLOT = re.compile(r"[0-9a-f]{4}:[0-9a-f]{2}:([0-9a-f]{2}\.[0-7])")


def _pci_place(path: str) -> str:
    hops = path.split("/")
    root = next(hop for hop in hops if hop.startswith("pci"))
    return "/".join([root, *(match.group(1) for hop in hops if (match := _SLOT.fullmatch(hop)))])


def _usb_place(record: Record, roots: dict[str, str]) -> str:
    chain = record["name"].partition("-")[2].partition(":")[0]
    bus = re.match(r"(?:usb)?(\d+)", record["name"])
    assert bus
    root = f"{_pci_place(record['path'])}/usb{roots[bus.group(1)]}"
    place = root if chain in {"", "0"} else f"{root}/{chain}"
    interface = record["name"].partition(":")[2].partition(".")[2]
    return f"{place}/if{interface}" if interface else place


def _of_libudev(records: list[Record]) -> _Rows:
    """Place (where libudev's path tells it), ids and driver of each device, by our name for its bus."""
    roots = {
        record["name"][3:]: record["attributes"]["idProduct"][-1]
        for record in records
        if record["subsystem"] == "usb" and record["name"].startswith("usb")
    }
    rows: _Rows = {}
    for record in records:
        row = _row(record, roots)
        if row:
            rows.setdefault(row[0], Counter())[row[1]] += 1
    return rows


def _row(record: Record, roots: dict[str, str]) -> tuple[str, tuple[str, ...]] | None:
    """Our name for the device's bus and what is compared of it, None for a kind that a capture does not read."""
    if record["path"].startswith("/sys/devices/virtual/"):
        return None
    for subsystem, wanted, bus, told in _KINDS:
        if record["subsystem"] == subsystem and wanted(record):
            return bus, told(record, roots)
    return None


def _pci(record: Record, _roots: dict[str, str]) -> tuple[str, ...]:
    told = record["attributes"]
    return _pci_place(record["path"]), f"{told['vendor'][2:]}:{told['device'][2:]}", record["driver"]


def _acpi(record: Record, _roots: dict[str, str]) -> tuple[str, ...]:
    told = record["attributes"]
    place = "acpi/" + (told["path"].lstrip("\\") or "root") if "path" in told else ""
    return place, told["hid"], record["driver"] or record["physical_driver"]


def _usb_device(record: Record, roots: dict[str, str]) -> tuple[str, ...]:
    told = record["attributes"]
    return _usb_place(record, roots), f"{told['idVendor']}:{told['idProduct']}", ""


def _usb_interface(record: Record, roots: dict[str, str]) -> tuple[str, ...]:
    told = record["attributes"]
    triple = "/".join(told[f"bInterface{part}"] for part in ("Class", "SubClass", "Protocol"))
    return _usb_place(record, roots), triple, record["driver"]


def _hid(record: Record, _roots: dict[str, str]) -> tuple[str, ...]:
    properties = record["properties"]
    _, vendor, product = properties["HID_ID"].lower().split(":")
    return properties["HID_NAME"], f"{vendor[4:]}:{product[4:]}", record["driver"]


def _attributes(*names: str, driver: bool = False) -> _Told:
    """The named attributes, and the driver where it is to be compared."""
    return lambda record, _: (*(record["attributes"][name] for name in names), *([record["driver"]] if driver else []))


def _any(_record: Record) -> bool:
    return True


def _of_type(name: str) -> Callable[[Record], bool]:
    return lambda record: record["type"] == name


_KINDS: tuple[tuple[str, Callable[[Record], bool], str, _Told], ...] = (
    ("pci", _any, "pci", _pci),
    ("acpi", lambda record: "hid" in record["attributes"], "acpi", _acpi),
    ("usb", _of_type("usb_device"), "usb", _usb_device),
    ("usb", _of_type("usb_interface"), "usb", _usb_interface),
    ("hid", _any, "hid", _hid),
    ("input", lambda record: record["name"].startswith("input"), "input", _attributes("name")),
    ("power_supply", _any, "power_supply", lambda record, _: (record["name"], record["attributes"]["type"])),
    ("net", _any, "net", _attributes("address")),
    ("block", _of_type("disk"), "block", lambda record, _: (record["name"][:2],)),
    ("serio", _any, "serio", _attributes("description", driver=True)),
    ("i2c", _any, "i2c", _attributes("name", driver=True)),
    ("spi", _any, "spi", _attributes(driver=True)),
    ("hdaudio", _any, "hdaudio", _attributes("vendor_id", driver=True)),
    ("video4linux", _any, "video", _attributes("name")),
    ("nvme", _any, "nvme", _attributes("state")),
    ("drm", _of_type("drm_connector"), "drm", lambda record, _: (record["name"].partition("-")[2],)),
    ("sound", lambda record: bool(re.fullmatch(r"card\d+", record["name"])), "sound", _attributes()),
    ("bluetooth", _of_type("host"), "bluetooth", _attributes()),
    ("rfkill", _any, "rfkill", _attributes("type")),
)
"""Subsystem, which of its devices, our name for the bus, and what is compared."""


def _of_capture(capture: Capture) -> _Rows:
    """The same of a capture's nodes."""
    rows: _Rows = {}
    for node in capture.nodes:
        facts: dict[str, Any] = node.facts
        place = "" if node.identity == "LNXPWRBN" else node.location
        device = node.bus == "usb" and node.identity.count(":") == 1
        row: tuple[str, ...] | None = {
            "pci": (place, node.identity, node.driver),
            "acpi": (place, node.identity, node.driver),
            "usb": (place, node.identity, "" if device else node.driver),
            "hid": (node.name, node.identity, node.driver),
            "input": (node.name,),
            "power_supply": (node.name, str(facts.get("type"))),
            "net": (str(facts.get("address")),),
            "block": (_disk_letters(node.location),),
            "serio": (node.name, node.driver),
            "i2c": (node.name, node.driver),
            "spi": (node.driver,) if node.kind is not Kind.INFRASTRUCTURE else None,  # controllers: spi_master
            "hdaudio": (node.identity, node.driver),
            "video": (node.name,),
            "nvme": (str(facts.get("state")),),
            "drm": (node.name,),
            "sound": (),
            "bluetooth": (),
            "rfkill": (str(facts.get("type")),),
        }.get(node.bus)
        if row is not None:
            rows.setdefault(node.bus, Counter())[row] += 1
    return rows


def _disk_letters(location: str) -> str:
    """How the kernel begins the name of such a disk: sd, nv(me), vd."""
    return "nv" if "/nvme" in location else "vd" if "/virtio" in location else "sd"


def test_this_machine() -> None:
    shown, listed = _of_capture(take(LiveTree(), taken_at="")), _of_libudev(pyudev_list())
    assert sum(len(rows) for rows in listed.values()) > 0
    assert shown == listed


_REAL = ["healthy", "external-devices", "battery-not-present", "touchpad-enumeration-failure"]


@pytest.mark.parametrize("archive", _REAL)
def test_a_real_kernels_tree(real_tree: _Tree, tmp_path: Path, archive: str) -> None:
    listed = _of_libudev(under_umockdev(copy_of(real_tree(archive), tmp_path / "copy"), "pyudev"))
    assert {"usb", "pci", "acpi", "input", "hid", "power_supply", "net", "block", "serio"} <= listed.keys()
    assert _of_capture(look(real_tree(archive))) == listed


_BUILT = [
    pytest.param(LARCH, Conditions(sockets=(MOUSE, FOREIGN_KEYBOARD, STICK)), id="larch with helpers"),
    pytest.param(LARCH, Conditions(sockets=(RADIO_DONGLE,), undriven=("camera",)), id="larch with an undriven camera"),
    pytest.param(HERON, Conditions(missing=("touchpad",)), id="heron without its touchpad"),
    pytest.param(PLOVER, Conditions(), id="plover"),
]


@pytest.mark.parametrize(("unit", "conditions"), _BUILT)
def test_an_invented_tree(tmp_path: Path, unit: Any, conditions: Conditions) -> None:  # noqa: ANN401
    root = build(unit, tmp_path / "unit", conditions)
    shown = _of_capture(look(root))
    listed = _of_libudev(under_umockdev(root, "pyudev"))
    assert len(listed) >= 12
    assert shown == listed
