"""The serial numbers that a capture gives, and what is none."""

from __future__ import annotations

import struct
from dataclasses import replace

import pytest
from conftest import RealTree
from hypothesis import given
from hypothesis import strategies as st
from support.looking import look
from support.returned import LARCH_13, REPAIRED, RETURNED, with_facts, with_node
from support.tree.descriptors import edid

from usbwatch.compare import findings, serials
from usbwatch.compare.serials import is_serial
from usbwatch.model import Capture


def told(capture: Capture) -> dict[tuple[str, str], str]:
    return {(one.of, one.kind): one.serial for one in serials(capture, findings(capture, LARCH_13))}


def test_unit_board_and_every_part_that_has_one_give_their_serial_numbers() -> None:
    assert told(RETURNED) == {
        ("unit", "product serial number"): "LG-0001-DEMO",
        ("unit", "chassis serial number"): "LG-0001-DEMO",
        ("board", "board serial number"): "LG-M002-DEMO",
        ("fingerprint-reader", "USB serial number"): "LG-F001-DEMO",
        ("camera", "USB serial number"): "LG-C001-DEMO",
        ("card-reader", "USB serial number"): "LG-R001-DEMO",
        ("battery", "battery serial number"): "LG-B104-DEMO",
        ("disk", "disk serial number"): "LG-N001-DEMO",
    }


def test_a_real_kernels_tree_gives_what_its_machine_was_made_with(real_tree: RealTree) -> None:
    """The kernel's own root hubs say where they sit (drivers/usb/core/hcd.c), and so does an emulated audio device."""
    found = told(look(real_tree("healthy")))
    assert found["unit", "product serial number"] == "FH13-000123"
    assert found["board", "board serial number"] == "MB-000123"
    assert found["battery", "battery serial number"] == "FB000777"
    assert found["disk", "disk serial number"] == "FNV-000123"
    assert found["internal-hub", "USB serial number"] == "IH0001"
    assert not [serial for serial in found.values() if "0000:00:" in serial]
    assert ("ethernet", "network address") not in found  # 52:54:00: locally administered, IEEE 802


def test_an_empty_bay_gives_none_though_firmware_remembers_a_pack(real_tree: RealTree) -> None:
    """SMBIOS type 22 is written at boot, often from a template: that tree's record names the pack that is out."""
    capture = look(real_tree("battery-not-present"))
    assert [node.facts["serial_number"] for node in capture.nodes if node.location == "dmi/type22"] == ["FB000777"]
    assert [kind for of, kind in told(capture) if of == "battery"] == []


FILLERS = [
    "",
    "   ",
    "To be filled by O.E.M.",
    "To Be Filled By O.E.M.",
    "Default string",
    "System Serial Number",
    "Base Board Serial Number",
    "Not Specified",
    "Not Applicable",
    "None",
    "N/A",
    "INVALID",
    "Unknown",
    "O.E.M.",
    "[Empty]",
    "SerNum0",
    "0",
    "00000000",
    "0x00000000",
    "FFFFFFFF",
    "0xffffffff",
    "11111111",
    "XXXXXXXX",
    "........",
    "0123456789",
    "123456789",
    "1234567890",
    "12345678",
    "0123456789ABCDEF",
    "0000:00:14.0",
]


@pytest.mark.parametrize("text", FILLERS)
def test_what_stands_where_nobody_filled_one_in_is_no_serial_number(text: str) -> None:
    """Common practice, no source."""
    assert not is_serial(text)
    capture = with_facts(RETURNED, "power_supply", "acpi/_SB_.BAT0/power_supply", {"serial_number": text})
    unit = replace(capture.unit, product_serial=text)
    found = told(replace(capture, unit=unit))
    assert not {("battery", "battery serial number"), ("unit", "product serial number")} & found.keys()


@pytest.mark.parametrize("text", ["LG-0001-DEMO", "1101", "41", "00012", "0x5a3c11d0", "OEM12345", "SN0042", "None-17"])
def test_a_short_or_plain_number_is_a_serial_number_all_the_same(text: str) -> None:
    """Smart Battery Data Specification 1.1, SerialNumber(): one word, so at most five digits (from memory)."""
    assert is_serial(text)


def _panel(number: int, text: bytes = b"") -> str:
    """VESA E-EDID release A: ID Serial Number at 0Ch, 32 bits, least significant byte first; descriptor FFh its text.

    Offsets and tag as in the kernel's include/drm/drm_edid.h; the section is 3.4, from memory.
    """
    block = bytearray(edid("QFL", 0x1301, "Larch Panel"))
    block[12:16] = struct.pack("<I", number)
    if text:
        block[90:108] = b"\0\0\0\xff\0" + text.ljust(13, b"\n")
    block[127] = -sum(block[:127]) % 256
    return block.hex()


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        pytest.param(_panel(0), {}, id="0 says that it is not used"),
        pytest.param(_panel(0x01010101), {}, id="a filler"),
        pytest.param(_panel(7_001), {"EDID serial number": "7001"}, id="a number"),
        pytest.param(_panel(0, b"LG-P001-DEMO"), {"EDID serial text": "LG-P001-DEMO"}, id="a text"),
        pytest.param("zz", {}, id="no hex"),
        pytest.param("00ff", {}, id="cut off"),
    ],
)
def test_a_panel_gives_its_serial_number_in_its_edid(raw: str, expected: dict[str, str]) -> None:
    capture = with_node(RETURNED, "drm", "pci0000:00/02.0/drm/eDP-1", raw={"edid": raw})
    assert {kind: serial for (of, kind), serial in told(capture).items() if of == "panel"} == expected


@pytest.mark.parametrize(
    ("address", "counts"),
    [("00:4c:47:00:00:01", True), ("02:4c:47:00:00:01", False), ("01:4c:47:00:00:01", False), ("junk", False)],
    ids=["universal", "local", "group", "no address"],
)
def test_a_network_address_counts_when_its_maker_gave_it(address: str, counts: bool) -> None:
    """IEEE 802: the lowest bits of the first octet, group and locally administered, are both 0."""
    capture = with_facts(RETURNED, "net", "pci0000:00/19.0/net", {"address": address})
    assert (told(capture).get(("ethernet", "network address")) == address) is counts


def test_what_hangs_on_a_hub_lends_it_no_serial_number() -> None:
    of = {one.of for one in serials(RETURNED, findings(RETURNED, LARCH_13))}
    assert not {"internal-hub", "usb-controller", "graphics"} & of


def test_without_roots_rights_the_units_own_numbers_are_not_there() -> None:
    """drivers/firmware/dmi-id.c: serial numbers are 0400; dmi_scan.c: so is the table."""
    unread = replace(
        REPAIRED,
        unit=replace(REPAIRED.unit, product_serial=""),
        nodes=tuple(node for node in REPAIRED.nodes if node.bus != "smbios"),
    )
    assert {one.of for one in serials(unread, findings(unread, LARCH_13))} & {"unit", "board"} == set()


@pytest.mark.properties
@given(st.text(max_size=40))
def test_any_text_is_judged_and_a_filler_stays_one_with_space_around_it(text: str) -> None:
    assert is_serial(f"  {text}\t") is is_serial(text)
