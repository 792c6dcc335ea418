"""Locations that no node can have: by the bounds of the standards, and never one that a real kernel gave."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.looking import look

from usbwatch.model import is_location
from usbwatch.profile.places import impossible

CAPTURES = sorted((Path(__file__).parent.parent.parent / "captures").glob("*-*.json"))
XHCI = "pci0000:00/14.0"


@pytest.mark.parametrize(
    ("location", "said"),
    [
        (f"{XHCI}/usb2/0", "has the USB port 0; ports are numbered from 1 to 255"),
        (f"{XHCI}/usb2/256", "has the USB port 256"),
        (f"{XHCI}/usb2/4.0", "has the USB port 0"),
        (f"{XHCI}/usb3/4.16", "has the port 16 of a SuperSpeed hub, which has at most 15"),
        (f"{XHCI}/usb2/1.1.1.1.1.1.1", "goes through 6 hubs behind the root hub; at most 5"),
        (f"{XHCI}/usb2/4.01", "has the USB port 01, which would never match; write 1"),
        (f"{XHCI}/usb2/port4", "has port4 after the root hub; write the ports"),
        (f"{XHCI}/usb5/4", "has usb5; a root hub is written usb1, usb2 or usb3"),
        ("usb4/1", "begins with usb4; a root hub is written usb1, usb2 or usb3"),
        ("pci0000:00/usb2/4", "has usb2 at the PCI root; name its controller between them"),
        ("pci0000:00", "is the PCI root alone; name the device behind it"),
        ("pci-0000:00:14.0", "begins with 'pci-0000:00:14.0', which is no PCI root"),
        ("pci0000:00/20.0", "has the PCI device 20; devices are numbered 00 to 1f"),
        ("pci0000:00/1c.0/00.8", "has the PCI function 8; functions are numbered 0 to 7"),
        ("pci0000:00/1C.0", "has 1C.0, which would never match; write 1c.0"),
        ("pci0000:00/2.0", "has 2.0, which would never match; write 02.0"),
        (f"{XHCI}//usb2/4", "has an empty hop"),
        ("pci0000:00/15.0/i2c/07", "has the I2C address 07; 7-bit addresses of devices go from 08 to 77"),
        ("pci0000:00/15.0/i2c/78", "has the I2C address 78"),
        ("pci0000:00/15.0/i2c/08", "has the I2C address 08, which would never match; write 8"),
        ("pci0000:00/15.0/i2c/2C", "has the I2C address 2C, which would never match; write 2c"),
        ("pci0000:00/15.0/i2c/0x2c", "has the I2C address 0x2c; write it in lower-case hex"),
        ("acpi/_SB.BAT0", "has the ACPI name _SB; names have four characters"),
        (r"acpi/\_SB_.BAT0", "filled up with _; write _SB_"),
        ("acpi/_sb_.bat0", "has the ACPI name _sb_; names have four characters"),
        ("acpi/_SB_.0BAT", "has the ACPI name 0BAT"),
        ("acpi/_SB_..BAT0", "has the ACPI name ''"),
        ("platform/i8042/keyboard", "has the PS/2 port keyboard; a capture writes kbd or aux"),
    ],
)
def test_a_place_that_cannot_be_is_told_with_what_to_write(location: str, said: str) -> None:
    assert said in impossible(location)


@pytest.mark.parametrize(
    "location",
    [
        f"{XHCI}/usb2/1",
        f"{XHCI}/usb2/255.255",
        f"{XHCI}/usb3/20.15",
        f"{XHCI}/usb2/1.1.1.1.1.1",
        f"{XHCI}/usb2/4.1/if0/hid/input",
        f"{XHCI}/usb2/4.1#2",
        "usb2",
        "usb2/4.1",
        "pci0000:00/1f.7",
        "pci0000:00/0e.0/pci10000:e0/00.0",
        "pci0000:00/15.0/i2c/8",
        "pci0000:00/15.0/i2c/77",
        "pci0000:00/15.0/i2c/a050",
        "pci0000:00/1f.3/soundwire/0/1209:0008",
        "acpi/BAT0",
        "acpi/LNXPWRBN",
        "acpi/root",
        "acpi/_SB_.PCI0.I2C1.TPD0/hid",
        "platform/i8042/aux1/input",
        "virtual/thermal",
        "dmi",
        "bus 001 device 004",
    ],
)
def test_a_place_that_can_be_has_nothing_told(location: str) -> None:
    """The last one is no location at all, which is another fault."""
    assert impossible(location) == ""


def test_the_last_tier_has_no_hub() -> None:
    """USB 2.0, 4.1.1: a hub in tier seven could have nothing behind it."""
    assert "in the last tier only other devices" in impossible(f"{XHCI}/usb2/1.1.1.1.1.1", "hub")
    assert impossible(f"{XHCI}/usb2/1.1.1.1.1", "hub") == ""


@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: path.stem)
def test_every_place_of_a_capture_can_be(path: Path) -> None:
    nodes = json.loads(path.read_text(encoding="utf-8"))["nodes"]
    assert len(nodes) > 20
    assert {node["location"]: impossible(node["location"]) for node in nodes if impossible(node["location"])} == {}


def test_every_place_that_a_real_kernel_gives_can_be(real_tree: Callable[[str], Path]) -> None:
    """Linux 6.1 with helper devices plugged in (``tests/data/trees``)."""
    places = {node.location for node in look(real_tree("external-devices")).nodes}
    assert len(places) > 50
    assert {place: impossible(place) for place in places if impossible(place)} == {}


@given(text=st.one_of(st.text(), st.from_regex(r"(pci0000:00|acpi|usb2)(/[0-9a-zA-Z_.:]{0,12}){0,4}", fullmatch=True)))
def test_whatever_is_written_is_answered_in_one_printable_line(text: str) -> None:
    told = impossible(text)
    assert len(told) < 250
    assert not told or (is_location(text) and told.isprintable())
