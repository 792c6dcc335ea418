"""What the descriptors of a USB device come to: functions, the speed it can do, what is wrong with them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from conftest import BuiltTree, RealTree
from support.hex_files import bytes_of
from support.looking import XHCI, at, look
from support.sysfs import Conditions
from support.units import LARCH, STICK

from usbwatch.capture.usb_described import described

DATA = Path(__file__).parent / "decode" / "data"

# The BOS of Linux's own SuperSpeed root hub, from memory of drivers/usb/core/hcd.c and drivers/usb/host/xhci-hub.c.
ROOT_HUB_BOS = "05 0f 0f 00 01  0a 10 03 00 08 00 03 00 00 00"
# Constructed by ch9.h: usb_ss_cap_descriptor, usb_ssp_cap_descriptor with two sublinks of 10 Gbit/s a lane,
# usb_ext_cap_descriptor.
ALL_SPEEDS = "05 0f 0f 00 01  0a 10 03 00 0e 00 01 0a ff 07"
TEN_GIGABIT = "05 0f 23 00 02  0a 10 03 00 0e 00 01 0a ff 0714 10 0a 00 01 00 00 00 00 11 00 00 34 40 0a 00 b4 40 0a 00"
MEGABIT = "05 0f 15 00 01  10 10 0a 00 00 00 00 00 00 11 00 00 20 00 02 00"
EXTENSION = "05 0f 0c 00 01  07 10 02 06 00 00 00"

DEVICE = "12 01 {version} 00 00 00 40 09 12 10 00 00 01 00 00 00 01"
SPEEDS = {
    "USB 2.0, no BOS": ("00 02", "", None),
    "USB 2.10 with link power management alone": ("10 02", EXTENSION, None),
    "USB 2.10 that can do SuperSpeed": ("10 02", ALL_SPEEDS, 5_000_000),
    "runs at SuperSpeed, its BOS not shown": ("00 03", "", 5_000_000),
    "SuperSpeedPlus, 10 Gbit/s a lane": ("10 02", TEN_GIGABIT, 10_000_000),
    "a sublink of 2 Mbit/s, in the unit of its exponent": ("10 02", MEGABIT, 2_000),
    "the kernel's own root hub": ("00 03", ROOT_HUB_BOS, 5_000_000),
}


@pytest.mark.parametrize(("version", "bos", "kbps"), SPEEDS.values(), ids=SPEEDS.keys())
def test_the_fastest_speed_that_a_device_claims(version: str, bos: str, kbps: int | None) -> None:
    told = described(bytes.fromhex(DEVICE.format(version=version)), bytes.fromhex(bos))
    assert told.facts.get("can_speed_kbps") == kbps


def test_a_companion_tells_superspeed_where_the_device_descriptor_is_damaged() -> None:
    """The kernel's SuperSpeed root hub, its bcdUSB made that of USB 2."""
    data = bytearray(bytes_of(DATA / "root-hub-usb3.descriptors.hex"))
    data[2:4] = b"\x00\x02"
    assert described(bytes(data), b"").facts["can_speed_kbps"] == 5_000_000


SAMPLES = [path.name.partition(".")[0] for path in sorted(DATA.glob("*.descriptors.hex"))]


@pytest.mark.parametrize("name", SAMPLES)
def test_a_sound_device_has_no_defects(name: str) -> None:
    told = described(bytes_of(DATA / f"{name}.descriptors.hex"), b"")
    assert not [fact for fact in told.facts if "defect" in fact]


DAMAGED = {
    "a descriptor that leads nowhere": (
        ("smart-card-reader", 18, 0x00),
        ("descriptor_defects", "first_descriptor_defect", "offset 17: bNumConfigurations is 1, found 0"),
    ),
    "a header that counts wrong": (
        ("camera", 49, 0x29),
        ("class_descriptor_defects", "first_class_descriptor_defect", "offset 49: wTotalLength is 41, found 40 bytes"),
    ),
}


@pytest.mark.parametrize(("change", "expected"), DAMAGED.values(), ids=DAMAGED.keys())
def test_damage_is_counted_and_its_first_place_said(
    change: tuple[str, int, int], expected: tuple[str, str, str]
) -> None:
    name, offset, byte = change
    data = bytearray(bytes_of(DATA / f"{name}.descriptors.hex"))
    data[offset] = byte
    facts = described(bytes(data), b"").facts
    assert facts[expected[0]] in (1, 2)
    assert facts[expected[1]] == expected[2]


def test_a_damaged_bos_is_told_apart_from_damaged_descriptors() -> None:
    facts = described(bytes_of(DATA / "touchpad.descriptors.hex"), bytes.fromhex("05 0f 0f 00 02") + bytes(2)).facts
    assert facts["bos_descriptor_defects"] == 3
    assert "descriptor_defects" not in facts


def cdc(subclass: int, *functional: str) -> bytes:
    """A communications device of one interface with these functional descriptors (USB CDC 1.2 section 5.2.3)."""
    body = bytes((9, 4, 0, 0, 0, 2, subclass, 0, 0)) + bytes.fromhex("".join(functional))
    head = bytes.fromhex("12 01 00 02 02 00 00 40 09 12 10 00 00 01 00 00 00 01 09 02")
    return head + (9 + len(body)).to_bytes(2, "little") + bytes.fromhex("01 01 00 80 32") + body


_HEADER, _ETHERNET = "05 24 00 10 01", "0d 24 0f 00 00 00 00 00 ea 05 00 00 00"
_NCM, _MBIM = "06 24 1a 00 01 00", "0c 24 1b 00 01 00 10 20 80 00 08 20"
_MANAGEMENT = "07 24 14 00 01 00 10"
CDC = {
    "a serial line": (0x02, (_HEADER,), ()),
    "ethernet by subclass": (0x06, (_HEADER, _ETHERNET), ("ethernet",)),
    "ethernet by its descriptor alone": (0xFF, (_HEADER, _ETHERNET), ("ethernet",)),
    "network control by its descriptor alone": (0xFF, (_HEADER, _NCM), ("ethernet",)),
    "mobile broadband by subclass": (0x0E, (_HEADER, _MBIM), ("wwan",)),
    "mobile broadband that can do network control too": (0xFF, (_HEADER, _NCM, _MBIM), ("wwan",)),
    "device management": (0x09, (_HEADER, _MANAGEMENT), ("wwan",)),
}


@pytest.mark.parametrize(("subclass", "functional", "functions"), CDC.values(), ids=CDC.keys())
def test_a_communications_device_is_told_by_subclass_or_functional_descriptors(
    subclass: int, functional: tuple[str, ...], functions: tuple[str, ...]
) -> None:
    assert described(cdc(subclass, *functional), b"").functions == functions


def test_nothing_is_said_of_no_bytes() -> None:
    """A device whose descriptors could not be read: sysfs shows an empty file, or none."""
    told = described(b"", b"")
    assert (told.functions, told.facts) == ((), {})


def test_a_superspeed_stick_of_a_real_kernel_says_what_it_can_do(real_tree: RealTree) -> None:
    stick = at(look(real_tree("external-devices")), f"{XHCI}/usb3/3", "usb")
    assert (stick.facts["speed_kbps"], stick.facts["can_speed_kbps"]) == (5_000_000, 5_000_000)


def test_bos_bytes_stay_beside_what_was_decoded(built_tree: BuiltTree) -> None:
    stick = replace(STICK, bos=bytes.fromhex(ALL_SPEEDS))
    capture = look(built_tree(LARCH, Conditions(kernel="6.12.0", sockets=(stick,), slow={"helper-stick": 480})))
    node = at(capture, f"{XHCI}/usb2/3", "usb")
    assert node.raw["bos_descriptors"] == ALL_SPEEDS.replace(" ", "")
    assert (node.facts["speed_kbps"], node.facts["can_speed_kbps"]) == (480_000, 5_000_000)
