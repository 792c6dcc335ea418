"""Raw bytes on a page of our own layout: node, block, descriptor, then a row for each field."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import pytest
from support.hostile import HOSTILE, poisoned
from support.invented import capture

from usbwatch.model import Kind, Node, Rung
from usbwatch.show import json_text, plain
from usbwatch.show.decode_view import decode_document, decode_view

# HID 1.11 appendix E.6, read in a reproduction, as in tests/capture/decode/test_hid_report.py.
KEYBOARD_REPORT = (
    "05010906a101050719e029e71500250175019508810295017508810195057501"
    "05081901290591029501750391019506750815002565050719002965810 0c0"
).replace(" ", "")
# HID 1.11 appendix E.1: the device descriptor.
DEVICE = "1201000100000008ffff01000001040e3001"


def node(**raw: str) -> Node:
    return Node(
        bus="usb",
        location="pci0000:00/14.0/usb2/4.1",
        kind=Kind.DEVICE,
        rung=Rung.WORKING,
        identity="1209:0001",
        name="Larch Internal Keyboard",
        raw=raw,
    )


def page(*nodes: Node, width: int = 80) -> list[str]:
    return plain(decode_view(nodes, width), width).splitlines()


def test_a_node_is_named_and_placed_once_before_its_blocks() -> None:
    rows = page(node(descriptors=DEVICE, report_descriptor=KEYBOARD_REPORT))
    assert rows[0] == rows[-1] == "┄" * 80
    assert rows[1] == "Larch Internal Keyboard (1209:0001)                 usb pci0000:00/14.0/usb2/4.1"
    assert sum("pci0000" in row for row in rows) == 1
    assert [row for row in rows if row.startswith(("descriptors", "report"))] == [
        "descriptors  18 bytes",
        "report_descriptor  63 bytes",
    ]


def test_a_row_has_offset_bytes_field_value_and_meaning() -> None:
    """HID 1.11 appendix E.1 has these fields at these offsets."""
    rows = page(node(descriptors=DEVICE))
    assert "   0  device  18 bytes" in rows
    assert "   2  00 01         bcdUSB                  0x0100    release 1.00" in rows
    assert "   7  08            bMaxPacketSize0         8" in rows
    assert "   8  ff ff         idVendor                0xffff" in rows


def test_long_fields_show_their_first_bytes() -> None:
    rows = page(node(edid="00ffffffffffff00" + "00" * 120))
    assert "   0  00 ff ff ff…  Header                  00 ff ff ff ff ff ff 00" in rows


def test_what_is_not_decoded_is_shown_whole() -> None:
    rows = page(node(descriptors=f"{DEVICE}0441aabb"))
    assert "  20  not decoded   aa bb" in rows


def test_structures_that_the_capture_has_read_come_last_and_are_not_said_to_be_unknown() -> None:
    chassis = replace(node(structure="0304000301"), bus="smbios", location="dmi/type3", name="notebook")
    rows = page(chassis, node(descriptors=DEVICE))
    assert rows.index("structure  5 bytes") > rows.index("descriptors  18 bytes")
    assert "   0  SMBIOS structure, read at capture: bytes only  5 bytes" in rows
    assert not any("no descriptor can be told" in row for row in rows)


def test_what_is_wrong_has_its_sign() -> None:
    rows = page(node(descriptors=f"{DEVICE}ff41"))
    assert "  18  ! bLength is 255, but only 2 of these bytes are there" in rows
    assert "  18  no descriptor can be told here  2 bytes" in rows


@pytest.mark.parametrize("text", ["xyz", "1", "१२"], ids=["no digits", "half a byte", "digits of another script"])
def test_a_block_that_is_no_hex_text_is_said_to_be_none(text: str) -> None:
    """A capture written by hand: its digest may fit whatever it holds."""
    assert "  ! what the capture holds here is no text of hexadecimal digits" in page(node(descriptors=text))
    (block,) = document(node(descriptors=text))["nodes"][0]["blocks"]
    assert block["problem"].startswith("what the capture holds")


def test_nodes_without_raw_bytes_are_left_out() -> None:
    assert page(node()) == [
        "No raw bytes were recorded here: descriptors, EDID and HID reports are kept",
        "where there are any.",
    ]


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_no_row_is_wider_than_the_page(width: int) -> None:
    rows = page(node(descriptors=DEVICE, report_descriptor=KEYBOARD_REPORT, edid="ab" * 300), width=width)
    assert max(len(row) for row in rows) <= width


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_can_break_the_page(text: str) -> None:
    bad = poisoned(node(descriptors=DEVICE), text, keep=frozenset({"raw"}))
    named = replace(bad, raw={text: "aabb", "descriptors": DEVICE})
    assert all(row.isprintable() for row in page(named))


def document(*nodes: Node) -> Any:  # noqa: ANN401
    return json.loads(json_text(decode_document(capture(), nodes)))


def test_the_document_has_numbers_as_numbers_and_bytes_as_hex() -> None:
    told = document(node(descriptors=DEVICE))
    assert (told["format"], told["schema"]) == ("usbwatch-decode", 1)
    (shown,) = told["nodes"]
    assert (shown["bus"], shown["location"]) == ("usb", "pci0000:00/14.0/usb2/4.1")
    (block,) = shown["blocks"]
    assert (block["block"], block["bytes"]) == ("descriptors", 18)
    (device, *_) = block["descriptors"]
    assert (device["offset"], device["length"], device["name"]) == (0, 18, "device")
    assert device["rows"][2] == {
        "kind": "field",
        "offset": 2,
        "length": 2,
        "name": "bcdUSB",
        "hex": "0001",
        "value": 256,
        "meaning": "release 1.00",
    }


def test_the_rows_of_the_document_are_the_bytes() -> None:
    (block,) = document(node(report_descriptor=KEYBOARD_REPORT))["nodes"][0]["blocks"]
    hexes = [row["hex"] for piece in block["descriptors"] for row in piece["rows"]]
    assert "".join(hexes) == KEYBOARD_REPORT
    assert re.fullmatch(r"[0-9a-f]+", "".join(hexes))
