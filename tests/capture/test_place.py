"""Locations: what stays the same from boot to boot, worked out from paths below ``sys/devices``.

Layouts: Documentation/admin-guide/sysfs-rules.rst, and a real kernel's tree.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.fake_tree import FakeTree

from usbwatch.capture import CopiedTree
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight

_Tree = Callable[..., Path]

_PCI = "sys/devices/pci0000:00"

_REAL = [
    ("usb/devices/usb1", "pci0000:00/14.0/usb2"),
    ("usb/devices/usb2", "pci0000:00/14.0/usb3"),
    ("usb/devices/1-4.1", "pci0000:00/14.0/usb2/4.1"),
    ("usb/devices/1-5:1.1", "pci0000:00/14.0/usb2/5/if1"),
    ("usb/devices/1-0:1.0", "pci0000:00/14.0/usb2/if0"),
    ("pci/devices/0000:00:1f.3", "pci0000:00/1f.3"),
    ("acpi/devices/PNP0C0A:00", "acpi/_SB_.BAT0"),
    ("acpi/devices/LNXSYSTM:00", "acpi/root"),
    ("acpi/devices/LNXPWRBN:00", "acpi/LNXPWRBN"),
    ("platform/devices/i8042", "platform/i8042"),
    ("platform/devices/PNP0C0D:00", "acpi/_SB_.LID0"),
    ("serio/devices/serio0", "platform/i8042/kbd"),
    ("serio/devices/serio1", "platform/i8042/aux"),
    ("hid/devices/0003:1209:0001.0001", "pci0000:00/14.0/usb2/4.1/if0/hid"),
    ("i2c/devices/i2c-0", "pci0000:00/1f.3/i2c"),
    ("hdaudio/devices/hdaudioC0D0", "pci0000:00/1b.0/codec0"),
    ("scsi/devices/6:0:0:0", "pci0000:00/14.0/usb2/8/if0"),
]


@pytest.mark.parametrize(("entry", "location"), _REAL, ids=[row[0] for row in _REAL])
def test_places_in_a_real_kernels_tree(real_tree: _Tree, entry: str, location: str) -> None:
    sight = Sight(CopiedTree(str(real_tree("healthy"))))
    assert Places(sight).of(sight.real(f"sys/bus/{entry}")) == location


def test_a_port_is_placed_by_its_hub(real_tree: _Tree) -> None:
    sight = Sight(CopiedTree(str(real_tree("healthy"))))
    hub = f"{_PCI}/0000:00:14.0/usb1"
    places = Places(sight)
    assert places.of(f"{hub}/1-0:1.0/usb1-port7") == "pci0000:00/14.0/usb2/7"
    assert places.of(f"{hub}/1-4/1-4:1.0/1-4-port3") == "pci0000:00/14.0/usb2/4.3"


def test_bus_numbers_are_learned_on_the_way(real_tree: _Tree) -> None:
    sight = Sight(CopiedTree(str(real_tree("healthy"))))
    places = Places(sight)
    places.of(sight.real("sys/bus/usb/devices/1-4.1"))
    assert places.root_hubs == {"1": "pci0000:00/14.0/usb2"}


def test_every_device_of_a_real_tree_has_a_place(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    sight = Sight(CopiedTree(str(root)))
    places = Places(sight)
    devices = [path.parent.relative_to(root) for path in (root / "sys/devices").rglob("subsystem")]
    assert len(devices) > 200
    assert [str(device) for device in devices if not places.of(str(device))] == []


def _tree(*devices: tuple[str, str, dict[str, str]]) -> Places:
    tree = FakeTree({}, {})
    for folder, subsystem, attributes in devices:
        tree.device(f"{_PCI}/{folder}", subsystem, **attributes)
    return Places(Sight(tree))


def test_bridges_and_their_children_are_placed_by_device_and_function() -> None:
    places = _tree(
        ("0000:00:1c.0", "bus/pci", {}),
        ("0000:00:1c.0/0000:03:00.0", "bus/pci", {}),
        ("0000:00:1c.0/0000:03:00.0/0000:04:02.1", "bus/pci", {}),
    )
    assert places.of(f"{_PCI}/0000:00:1c.0/0000:03:00.0/0000:04:02.1") == "pci0000:00/1c.0/00.0/02.1"


@pytest.mark.parametrize(("product", "name"), [("0001", "usb1"), ("0002", "usb2"), ("0003", "usb3")])
def test_a_root_hub_is_named_for_its_port_numbering(product: str, name: str) -> None:
    """Product ids of the kernel's root hubs: drivers/usb/core/hcd.c."""
    places = _tree(("0000:00:1d.0", "bus/pci", {}), ("0000:00:1d.0/usb9", "bus/usb", {"idProduct": product}))
    assert places.of(f"{_PCI}/0000:00:1d.0/usb9") == f"pci0000:00/1d.0/{name}"


def test_a_controller_that_is_no_pci_function_is_placed_by_its_platform_name() -> None:
    """As dummy_hcd and many phones' controllers are; ``.auto`` numbers follow the order of probing."""
    tree = FakeTree({}, {})
    tree.device("sys/devices/platform/xhci-hcd.7.auto", "bus/platform")
    tree.device("sys/devices/platform/xhci-hcd.7.auto/usb3", "bus/usb", idProduct="0002")
    tree.device("sys/devices/platform/xhci-hcd.7.auto/usb3/3-1", "bus/usb")
    place = Places(Sight(tree)).of("sys/devices/platform/xhci-hcd.7.auto/usb3/3-1")
    assert place == "platform/xhci-hcd/usb2/1"


def test_a_pass_through_port_hangs_on_its_pad() -> None:
    tree = FakeTree({}, {})
    tree.device("sys/devices/platform/i8042", "bus/platform")
    tree.device("sys/devices/platform/i8042/serio1", "bus/serio", description="i8042 AUX port")
    tree.device("sys/devices/platform/i8042/serio1/serio2", "bus/serio", description="touchpad pass-through")
    places = Places(Sight(tree))
    assert places.of("sys/devices/platform/i8042/serio1/serio2") == "platform/i8042/aux/pass-through"


@pytest.mark.parametrize("path", ["", "sys", "sys/devices", "sys/class/input", "etc/passwd", "../x", "/sys/devices/x"])
def test_what_is_no_device_has_no_place(path: str) -> None:
    assert Places(Sight(FakeTree({}, {}))).of(path) == ""


@pytest.mark.properties
class TestAnyPath:
    """A path raises nothing, and gives the same place twice."""

    @given(st.lists(st.text(st.characters(exclude_characters="/\0"), min_size=1, max_size=20), max_size=12))
    def test_any_hops(self, hops: list[str]) -> None:
        places = Places(Sight(FakeTree({}, {})))
        folder = "/".join(["sys/devices", *hops])
        assert places.of(folder) == places.of(folder)
