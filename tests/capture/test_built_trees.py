"""The invented laptops' trees against a real kernel's: same names, same links, same forms.

The real tree is Linux 6.1's own sysfs (``tests/data/trees``). The invented
Larch is wired like the emulated one, so many of their paths are the same.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.sysfs import Conditions
from support.tree.parts import Laptop
from support.units import DOCK, FOREIGN_KEYBOARD, HERON, LARCH, MOUSE, PLOVER, STICK

# The fixtures are callables; mypy knows them by these names.
_Tree = Callable[..., Path]

_UNITS = [pytest.param(unit, id=unit.dmi["product_name"]) for unit in (LARCH, HERON, PLOVER)]

_WORDS = re.compile(r"[0-9A-Za-z]+")
_FREE_TEXT = re.compile(
    r"chip_name|configuration|descriptors|edid|firmware_rev|id|interface|manufacturer|model|modes|name|path|phys|product"
    r"|report_descriptor|.*serial|serial_number|.*_link_speed"
)
"""What a device or firmware says of itself, or binary: it has no form of the kernel's."""

_FIRMWARE_LINKS = re.compile(r"driver|firmware_node|physical_node\d*")
"""Their targets carry the firmware's own numbering, or the emulator's drivers."""

_SAME_PLACES = (
    "sys/devices/pci0000:00/0000:00:02.0",
    "sys/devices/pci0000:00/0000:00:06.0",
    "sys/devices/pci0000:00/0000:00:14.0",
    "sys/devices/pci0000:00/0000:00:19.0",
    "sys/devices/pci0000:00/0000:00:1b.0",
    "sys/devices/platform",
    "sys/devices/virtual/dmi",
    "sys/devices/LNXSYSTM:00",
)

_SAME_LISTS = (
    *(f"sys/bus/{bus}/devices" for bus in ("acpi", "hid", "pci", "platform", "usb")),
    *(f"sys/class/{cls}" for cls in ("bluetooth", "dmi", "drm", "net", "nvme", "power_supply", "video4linux")),
)
"""Lists whose names do not hang on the order in which drivers came up."""


def _files(root: Path, tops: tuple[str, ...]) -> Iterator[Path]:
    for top in tops:
        for folder, folders, files in os.walk(root / top):
            for name in (*folders, *files):
                yield Path(folder, name)


def _form(data: bytes) -> str:
    return _WORDS.sub("x", data.decode())


def _uevent_keys(data: bytes) -> list[str]:
    return [line.partition("=")[0] for line in data.decode().splitlines()]


def _is_compared(path: Path) -> bool:
    return (
        path.is_file() and not path.is_symlink() and not _FREE_TEXT.fullmatch(path.name) and path.parent.name != "power"
    )


def test_every_attribute_has_the_form_that_the_kernel_gives_it(real_tree: _Tree, built_tree: _Tree) -> None:
    real, built = real_tree("healthy"), built_tree(LARCH)
    compared, differing = 0, []
    for path in filter(_is_compared, _files(built, _SAME_PLACES)):
        counterpart = real / path.relative_to(built)
        if not counterpart.is_file():
            continue
        compared += 1
        form = _uevent_keys if path.name == "uevent" else _form
        if form(path.read_bytes()) != form(counterpart.read_bytes()):
            differing.append((str(path.relative_to(built)), path.read_bytes(), counterpart.read_bytes()))
    assert compared > 800
    assert differing == []


def test_every_link_leads_where_the_kernel_makes_it_lead(real_tree: _Tree, built_tree: _Tree) -> None:
    real, built = real_tree("healthy"), built_tree(LARCH)
    compared, differing = 0, []
    for path in _files(built, (*_SAME_PLACES, *_SAME_LISTS)):
        counterpart = real / path.relative_to(built)
        if not path.is_symlink() or _FIRMWARE_LINKS.fullmatch(path.name) or not counterpart.is_symlink():
            continue
        compared += 1
        if path.readlink() != counterpart.readlink():
            differing.append((str(path.relative_to(built)), str(path.readlink()), str(counterpart.readlink())))
    assert compared > 150
    assert differing == []


def test_no_folder_of_a_usb_device_holds_what_the_kernel_does_not_put_there(
    real_tree: _Tree, built_tree: _Tree
) -> None:
    real, built = real_tree("external-devices"), built_tree(LARCH, Conditions(sockets=(MOUSE,)))
    names = re.compile(r"(usb\d|\d-[\d.]+(:1\.\d)?|usb\d-port\d+|\d-[\d.]+-port\d)\Z")
    of_kind: dict[str, set[str]] = {}
    for path in _files(real, ("sys/devices/pci0000:00/0000:00:14.0",)):
        if path.is_dir() and not path.is_symlink() and names.match(path.name):
            of_kind.setdefault(_kind(path.name), set()).update(entry.name for entry in path.iterdir())
    checked = 0
    for path in _files(built, ("sys/devices/pci0000:00/0000:00:14.0",)):
        if path.is_dir() and not path.is_symlink() and names.match(path.name):
            own = {entry.name for entry in path.iterdir() if not re.match(r"\d|usb\d|ep_|host\d", entry.name)}
            assert own <= of_kind[_kind(path.name)], path
            checked += 1
    assert checked > 30


def _kind(name: str) -> str:
    return "port" if "-port" in name else "interface" if ":" in name else "root" if name.startswith("usb") else "device"


def test_what_the_built_tree_of_the_same_parts_shows_of_usb_is_what_the_real_one_shows(
    real_tree: _Tree, built_tree: _Tree
) -> None:
    """Every kind of file that the kernel has in the keyboard's folders is in the invented one's, but for counters."""
    place = "sys/devices/pci0000:00/0000:00:14.0/usb1/1-4/1-4.1"
    real, built = real_tree("healthy") / place, built_tree(LARCH) / place
    left_out = {"country", "waiting_for_supplier"}
    for folder in (".", "1-4.1:1.0", "1-4.1:1.0/0003:1209:0001.0001"):
        expected = {entry.name for entry in (real / folder).iterdir()}
        there = {entry.name for entry in (built / folder).iterdir()}
        assert expected - there <= left_out, folder


@pytest.mark.parametrize("unit", _UNITS)
def test_every_link_is_relative_and_leads_to_something_in_the_tree(built_tree: _Tree, unit: Laptop) -> None:
    root = built_tree(unit)
    links = [path for path in _files(root, ("sys",)) if path.is_symlink()]
    for path in links:
        assert not path.readlink().is_absolute(), path
        assert path.resolve().is_relative_to(root.resolve()), path
        assert path.exists(), path
    assert len(links) > 150


@pytest.mark.parametrize("unit", _UNITS)
def test_every_device_is_listed_on_its_bus_and_in_its_class(built_tree: _Tree, unit: Laptop) -> None:
    """Documentation/admin-guide/sysfs-rules.rst: a device is a folder with a ``subsystem`` link."""
    root = built_tree(unit)
    devices = [path.parent for path in _files(root, ("sys/devices",)) if path.name == "subsystem"]
    for device in devices:
        subsystem = (device / "subsystem").resolve()
        listing = subsystem / "devices" if subsystem.parent.name == "bus" else subsystem
        assert (listing / device.name).resolve() == device.resolve(), device
    assert len(devices) > 50


def test_the_log_of_a_failed_enumeration_is_the_one_that_the_kernel_wrote(real_tree: _Tree, built_tree: _Tree) -> None:
    """Same lines in the same order as kernel 6.1 printed for the same fault, but for times and numbers."""
    lines = re.compile(r"usb 1-4[.-](?:2|port2): .*")
    told = []
    for root in (
        real_tree("touchpad-enumeration-failure"),
        built_tree(LARCH, Conditions(failing={"touchpad": ("device", -71)})),
    ):
        log = (root / "meta/dmesg.txt").read_text()
        told.append([re.sub(r"number \d+", "number N", line) for line in lines.findall(log)])
    assert len(told[0]) == 14
    assert told[1] == told[0]


def test_the_log_of_a_slow_camera_is_the_one_that_the_kernel_wrote(real_tree: _Tree, built_tree: _Tree) -> None:
    lines = re.compile(r"usb 1-5: n.*|usb 1-5: New USB device found.*")
    told = [
        [re.sub(r"number \d+", "number N", line) for line in lines.findall((root / "meta/dmesg.txt").read_text())]
        for root in (real_tree("camera-full-speed"), built_tree(LARCH, Conditions(slow={"camera": 12})))
    ]
    assert len(told[0]) == 3
    assert told[1] == told[0]


def test_an_empty_bay_leaves_what_it_leaves_in_a_real_kernel(real_tree: _Tree, built_tree: _Tree) -> None:
    for root in (real_tree("battery-not-present"), built_tree(LARCH, Conditions(battery="absent"))):
        battery = root / "sys/devices/LNXSYSTM:00/LNXSYBUS:00/PNP0C0A:00"
        assert (battery / "status").read_text() == "15\n"
        assert not (battery / "power_supply").exists()
        assert "ACPI: battery: Slot [BAT0] (battery absent)" in (root / "meta/dmesg.txt").read_text()


def test_what_a_tree_is_of_stands_where_the_kernel_puts_it(built_tree: _Tree) -> None:
    root = built_tree(LARCH)
    assert (root / "sys/class/dmi/id/product_name").read_text() == "Larch 13\n"
    assert (root / "sys/bus/acpi/devices/PNP0C0A:00/path").read_text() == "\\_SB_.BAT0\n"
    assert (root / "sys/bus/pci/devices/0000:00:14.0/firmware_node/path").read_text() == "\\_SB_.PCI0.XHC_\n"


def test_numbers_follow_the_order_in_which_parts_are_met(built_tree: _Tree) -> None:
    first = built_tree(LARCH)
    second = built_tree(LARCH, Conditions(order=("bluetooth", "touchpad"), bus_numbers={"xhci": (7, 4)}))
    assert (first / "sys/bus/usb/devices/1-6/devnum").read_text() != (
        second / "sys/bus/usb/devices/7-6/devnum"
    ).read_text()
    assert {entry.name for entry in (first / "sys/bus/hid/devices").iterdir()} == {
        "0003:1209:0001.0001",
        "0003:1209:0002.0002",
    }
    assert {entry.name for entry in (second / "sys/bus/hid/devices").iterdir()} == {
        "0003:1209:0001.0002",
        "0003:1209:0002.0001",
    }


def test_helpers_sit_in_sockets(built_tree: _Tree) -> None:
    behind_dock = {"port": "1.2", "id": "helper-keyboard-behind-dock"}
    keyboard = type(FOREIGN_KEYBOARD)(
        **{name: getattr(FOREIGN_KEYBOARD, name) for name in FOREIGN_KEYBOARD.__slots__} | behind_dock
    )
    root = built_tree(LARCH, Conditions(sockets=(DOCK, keyboard, STICK)))
    devices = root / "sys/bus/usb/devices"
    assert (devices / "1-1/removable").read_text() == "removable\n"
    assert (devices / "1-1.2/idProduct").read_text() == "0001\n"
    assert (devices / "1-1.2/removable").read_text() == "unknown\n"
    assert (devices / "2-3/speed").read_text() == "5000\n"
