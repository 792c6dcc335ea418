"""Raw blocks unfolded: every byte in one row, with the name its standard gives it."""

from __future__ import annotations

from pathlib import Path

import hid_parser
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import usb_ids
from support.hex_files import bytes_of, kernel_parse

from usbwatch.capture.decode import hid_report, smbios
from usbwatch.capture.decode.unfold import BLOCKS, LONGEST, Row, Unfolded, unfold
from usbwatch.capture.decode.unfold_hid import ITEMS, PAGES, USAGES

DATA = Path(__file__).parent / "data"
SAMPLES = {path.name.removesuffix(".hex"): bytes_of(path) for path in sorted(DATA.glob("*.hex"))}
SMBIOS = {f"{path.name}": bytes_of(path) for path in sorted((DATA / "smbios").glob("*.hex"))}

# HID 1.11 appendix E, as in test_usb_descriptors.py and test_hid_report.py, where it says what was read and what is
# from memory: E.1 to E.9 a keyboard with a pointing device, E.6 the keyboard's report descriptor.
APPENDIX_E = bytes.fromhex(
    "12 01 00 01 00 00 00 08 ff ff 01 00 00 01 04 0e 30 01"
    "09 02 3b 00 02 01 00 a0 32"
    "09 04 00 00 01 03 01 01 00"
    "09 21 01 01 00 01 22 3f 00"
    "07 05 81 03 08 00 0a"
    "09 04 01 00 01 03 01 02 00"
    "09 21 01 01 00 01 22 32 00"
    "07 05 82 03 08 00 0a"
)
KEYBOARD = bytes.fromhex(
    "05 01 09 06 a1 01 05 07 19 e0 29 e7 15 00 25 01 75 01 95 08 81 02 95 01 75 08 81 01 95 05 75 01"
    "05 08 19 01 29 05 91 02 95 01 75 03 91 01 95 06 75 08 15 00 25 65 05 07 19 00 29 65 81 00 c0"
)


def block_of(sample: str) -> str:
    return sample.rpartition(".")[2]


def rows(unfolded: tuple[Unfolded, ...], kind: str = "field") -> list[Row]:
    return [row for piece in unfolded for row in piece.rows if row.kind == kind]


def check(name: str, data: bytes) -> tuple[Unfolded, ...]:
    """Every byte is in one row and in one descriptor, and each row shows the bytes of its place."""
    unfolded = unfold(name, data)
    at = 0
    for piece in unfolded:
        assert piece.offset == at
        at += piece.length
        inside = [row for row in piece.rows if row.kind != "defect"]
        assert sum(row.length for row in inside) == piece.length
        assert all(data[row.offset : row.offset + row.length].hex() == row.hex for row in inside)
        assert [row.offset for row in inside] == sorted({row.offset for row in inside})
        assert all(row.length == 0 and str(row.value).isprintable() for row in piece.rows if row.kind == "defect")
    assert at == len(data)
    return unfolded


@pytest.mark.parametrize("sample", SAMPLES)
def test_a_sound_block_is_told_to_its_last_byte(sample: str) -> None:
    unfolded = check(block_of(sample), SAMPLES[sample])
    assert rows(unfolded, "defect") == []
    assert all(piece.name for piece in unfolded)


def named(unfolded: tuple[Unfolded, ...]) -> list[tuple[int, str, int]]:
    return [(piece.offset, piece.name, piece.length) for piece in unfolded]


def test_hid_appendix_e_descriptor_by_descriptor() -> None:
    """Order and lengths: HID 1.11 appendix E.1 to E.9."""
    assert named(unfold("descriptors", APPENDIX_E)) == [
        (0, "device", 18),
        (18, "configuration", 9),
        (27, "interface", 9),
        (36, "HID", 9),
        (45, "endpoint", 7),
        (52, "interface", 9),
        (61, "HID", 9),
        (70, "endpoint", 7),
    ]


E_1 = [
    # Field names and values as appendix E.1 to E.4 tabulates them.
    (0, "bLength", 18),
    (1, "bDescriptorType", 1),
    (2, "bcdUSB", 0x0100),
    (4, "bDeviceClass", 0),
    (5, "bDeviceSubClass", 0),
    (6, "bDeviceProtocol", 0),
    (7, "bMaxPacketSize0", 8),
    (8, "idVendor", 0xFFFF),
    (10, "idProduct", 0x0001),
    (12, "bcdDevice", 0x0100),
    (14, "iManufacturer", 4),
    (15, "iProduct", 14),
    (16, "iSerialNumber", 48),
    (17, "bNumConfigurations", 1),
    (18, "bLength", 9),
    (19, "bDescriptorType", 2),
    (20, "wTotalLength", 59),
    (22, "bNumInterfaces", 2),
    (23, "bConfigurationValue", 1),
    (24, "iConfiguration", 0),
    (25, "bmAttributes", 0xA0),
    (26, "bMaxPower", 50),
    (27, "bLength", 9),
    (28, "bDescriptorType", 4),
    (29, "bInterfaceNumber", 0),
    (30, "bAlternateSetting", 0),
    (31, "bNumEndpoints", 1),
    (32, "bInterfaceClass", 3),
    (33, "bInterfaceSubClass", 1),
    (34, "bInterfaceProtocol", 1),
    (35, "iInterface", 0),
    (36, "bLength", 9),
    (37, "bDescriptorType", 0x21),
    (38, "bcdHID", 0x0101),
    (40, "bCountryCode", 0),
    (41, "bNumDescriptors", 1),
    (42, "bDescriptorType", 0x22),
    (43, "wDescriptorLength", 63),
    (45, "bLength", 7),
    (46, "bDescriptorType", 5),
    (47, "bEndpointAddress", 0x81),
    (48, "bmAttributes", 3),
    (49, "wMaxPacketSize", 8),
    (51, "bInterval", 10),
]


def test_hid_appendix_e_field_by_field() -> None:
    found = [(row.offset, row.name, row.value) for row in rows(unfold("descriptors", APPENDIX_E))]
    assert found[: len(E_1)] == E_1


def test_hid_appendix_e_in_words() -> None:
    meanings = {row.offset: row.meaning for row in rows(unfold("descriptors", APPENDIX_E)) if row.meaning}
    assert meanings[2] == "release 1.00"
    assert meanings[25] == "can wake the host"
    assert meanings[26] == "100 mA"
    assert meanings[32] == "Human Interface Device"
    assert meanings[42] == "HID report"
    assert (meanings[47], meanings[48], meanings[49]) == ("endpoint 1, in", "interrupt", "8 bytes")


def test_hid_appendix_e_6_item_by_item() -> None:
    """The first items and the last of the keyboard's report descriptor, in the order of appendix E.6."""
    found = [(row.name, row.value, row.meaning) for row in rows(unfold("report_descriptor", KEYBOARD))]
    assert found[:12] == [
        ("Usage Page", 1, "Generic Desktop Controls"),
        ("Usage", 6, "Keyboard"),
        ("Collection", 1, "application"),
        ("Usage Page", 7, "Keyboard"),
        ("Usage Minimum", 224, ""),
        ("Usage Maximum", 231, ""),
        ("Logical Minimum", 0, ""),
        ("Logical Maximum", 1, ""),
        ("Report Size", 1, "1 bit each"),
        ("Report Count", 8, "8 fields"),
        ("Input", 2, "data, variable, absolute"),
        ("Report Count", 1, "1 field"),
    ]
    assert found[-1] == ("End Collection", 0, "")


@pytest.mark.parametrize("sample", [name for name in SAMPLES if block_of(name) == "descriptors"])
def test_fields_agree_with_what_the_kernel_parsed(sample: str) -> None:
    """The kernel's own attributes of the same device, kept beside the bytes: hexadecimal but for the counts."""
    parsed = kernel_parse(DATA / f"{sample}.hex").get("device", {})
    fields = {row.name: row for row in unfold("descriptors", SAMPLES[sample])[0].rows}
    told = {name: text for name, text in parsed.items() if name in fields}
    assert len(told) == 8
    for name, text in told.items():
        base = 10 if name in ("bNumConfigurations", "bMaxPacketSize0") else 16
        assert fields[name].value == int(text, base), name


@pytest.mark.parametrize("sample", [name for name in SAMPLES if block_of(name) == "report_descriptor"])
def test_items_agree_with_hid_parser(sample: str) -> None:
    """The reference library's raw walk: type, tag and value of each item."""
    data = SAMPLES[sample]
    reference = list(hid_parser.ReportDescriptor(list(data))._iterate_raw())
    found = rows(unfold("report_descriptor", data))
    assert [row.name for row in found] == [ITEMS[kind, tag] for kind, tag, _ in reference]
    assert [row.value for row in found] == [value or 0 for _, _, value in reference]


NOT_LISTED = {0x20}
"""Of the list's pages: sensors came later (HID Usage Tables page 20; HID_UP_SENSOR in include/linux/hid.h)."""


@pytest.mark.parametrize("page", sorted(PAGES.keys() - NOT_LISTED))
def test_usage_pages_have_the_names_of_usb_ids(page: int) -> None:
    assert usb_ids.hid_usages()[page,] == PAGES[page]


@pytest.mark.parametrize("usage", USAGES, ids=USAGES.values())
def test_usages_have_the_names_of_usb_ids(usage: tuple[int, int]) -> None:
    assert usb_ids.hid_usages()[usage] == USAGES[usage]


def test_a_four_byte_usage_carries_its_page() -> None:
    found = rows(unfold("report_descriptor", bytes.fromhex("05 01 0b 05 00 0d 00 a1 01 c0")))
    assert found[1].meaning == "Touch Pad"


def test_logical_limits_are_signed() -> None:
    """HID 1.11 appendix E.10: the mouse's movements run from -127 to 127."""
    assert [row.value for row in rows(unfold("report_descriptor", bytes.fromhex("15 81 25 7f")))] == [-127, 127]


def test_flags_of_a_main_item() -> None:
    """HID 1.11 section 6.2.2.5."""
    (row,) = rows(unfold("report_descriptor", bytes.fromhex("82 ff 01")))
    assert row.meaning == (
        "constant, variable, relative, wrap, non-linear, no preferred state, null state, volatile, buffered bytes"
    )


# The BOS of Linux's own SuperSpeed root hub, from memory of drivers/usb/core/hcd.c and drivers/usb/host/xhci-hub.c.
ROOT_HUB_BOS = bytes.fromhex("05 0f 0f 00 01  0a 10 03 00 08 00 03 00 00 00")


def test_a_bos_with_the_names_of_ch9() -> None:
    """``usb_bos_descriptor`` and ``usb_ss_cap_descriptor`` in include/uapi/linux/usb/ch9.h."""
    unfolded = check("bos_descriptors", ROOT_HUB_BOS)
    assert named(unfolded) == [(0, "binary device object store", 5), (5, "SuperSpeed", 10)]
    assert [(row.name, row.offset) for row in unfolded[1].rows] == [
        ("bLength", 5),
        ("bDescriptorType", 6),
        ("bDevCapabilityType", 7),
        ("bmAttributes", 8),
        ("wSpeedSupported", 9),
        ("bFunctionalitySupport", 11),
        ("bU1devExitLat", 12),
        ("wU2DevExitLat", 13),
    ]
    assert unfolded[1].rows[4].meaning == "5 Gbit/s"


def test_a_sublink_speed_in_words() -> None:
    data = bytes.fromhex("05 0f 15 00 01  10 10 0a 00 00 00 00 00 00 11 00 00 34 40 0a 00")
    assert rows(unfold("bos_descriptors", data))[-1].meaning == "10 Gbit/s a lane, in"


def test_bus_power_counts_in_8_ma_at_superspeed() -> None:
    """``usb_get_max_power`` in drivers/usb/core/usb.h."""
    fast = bytes.fromhex("12 01 00 03 00 00 00 09 09 12 0f 00 00 01 00 00 00 01  09 02 09 00 00 01 00 80 0c")
    assert next(row.meaning for row in rows(unfold("descriptors", fast)) if row.name == "bMaxPower") == "96 mA"


def test_a_camera_in_words() -> None:
    """The invented camera, whose bytes test_class_specific.py holds against ``uapi/linux/usb/video.h``."""
    meanings = {(row.name, row.meaning) for row in rows(unfold("descriptors", SAMPLES["camera.descriptors"]))}
    assert {
        ("bcdUVC", "release 1.10"),
        ("wTerminalType", "camera"),
        ("bDescriptorSubType", "MJPEG frame"),
        ("dwFrameInterval", "30.00 pictures a second"),
        ("bEndpointAddress", "endpoint 1, in"),
    } <= meanings


def test_an_edid_with_the_standards_names() -> None:
    unfolded = check("edid", SAMPLES["connector.edid"])
    assert [piece.name for piece in unfolded] == ["EDID base block", "EDID extension block"]
    told = {row.name: row.meaning for row in rows(unfolded)}
    assert told["Year of Manufacture"] == "2014"
    assert told["Descriptor 1"] == "timing 1920 x 1080 at 75.00 Hz"
    assert told["Descriptor 4"] == "product name: Larch Panel"
    assert (told["Checksum"], told["Extension Tag"]) == ("adds up", "CTA extension")


@pytest.mark.parametrize("sample", SMBIOS)
def test_an_smbios_table_structure_by_structure(sample: str) -> None:
    """DSP0134 section 6.1.2: each structure starts with Type, Length and Handle."""
    unfolded = check("smbios", SMBIOS[sample])
    structures = [piece for piece in unfolded if piece.name]
    assert structures
    assert all([row.name for row in piece.rows[:3]] == ["Type", "Length", "Handle"] for piece in structures)


def structure(formatted: str, *strings: str) -> bytes:
    """A structure by DMTF DSP0134 section 6.1: its formatted part, its strings, and two zero bytes in all."""
    return bytes.fromhex(formatted) + b"".join(one.encode() + b"\0" for one in strings) + b"\0" * (1 if strings else 2)


SMBIOS_FIELDS = {
    # The example of a structure with strings in DSP0134 section 6.1.3 (from memory), its handle and bits chosen here.
    "the standard's example of firmware information": (
        structure(
            "00 13 00 00 01 02 00 e8 03 01 00 00 00 00 00 00 00 00 00",
            "System BIOS Vendor Name",
            "4.04",
            "00/00/0000",
        ),
        {
            (0x04, "Vendor", 1, "System BIOS Vendor Name"),
            (0x05, "BIOS Version", 2, "4.04"),
            (0x08, "BIOS Release Date", 3, "00/00/0000"),
        },
        ["00e8", "01" + "00" * 9],
    ),
    # Offsets of types 21 and 22: SMBIOS_TABLE_TYPE21 and …22 in EDK II's SmBios.h.
    "a touch pad": (
        structure("15 07 00 15 07 04 02"),
        {(0x04, "Type", 7, "touch pad"), (0x05, "Interface", 4, "PS/2"), (0x06, "Number of Buttons", 2, "")},
        [],
    ),
    "a battery": (
        structure("16 1a 00 16 01 00 00 00 00 06 88 13 c8 2d 00 ff 34 12 61 5a 00 0a 04 03 02 01", "Front"),
        {
            (0x04, "Location", 1, "Front"),
            (0x05, "Manufacturer", 0, "none given"),
            (0x09, "Device Chemistry", 6, "lithium-ion"),
            (0x0A, "Design Capacity", 5000, ""),
            (0x0C, "Design Voltage", 11720, ""),
            (0x15, "Design Capacity Multiplier", 10, ""),
            (0x16, "OEM-specific", 0x01020304, ""),
        },
        [],
    ),
    # Type 41 (DSP0134 section 7.42): bit 7 of the type says enabled; device 19h is in the upper five bits of its byte.
    "an onboard device": (
        structure("29 0b 00 29 01 85 01 00 00 00 c8", "Onboard LAN"),
        {
            (0x04, "Reference Designation", 1, "Onboard LAN"),
            (0x05, "Device Type", 0x85, "ethernet, enabled"),
            (0x07, "Segment Group Number", 0, ""),
            (0x0A, "Device/Function Number", 0xC8, "19.0"),
        },
        [],
    ),
    # Type 10 (section 7.11): two bytes a device.
    "the older record of onboard devices": (
        structure("0a 08 00 0a 83 01 05 02", "Video", "LAN"),
        {
            (0x04, "Device 1 Type", 0x83, "video, enabled"),
            (0x06, "Device 2 Type", 0x05, "ethernet, disabled"),
            (0x07, "Device 2 Description String", 2, "LAN"),
        },
        [],
    ),
}


@pytest.mark.parametrize(("data", "expected", "kept"), SMBIOS_FIELDS.values(), ids=SMBIOS_FIELDS)
def test_the_fields_of_an_smbios_structure(
    data: bytes, expected: set[tuple[int, str, int, str]], kept: list[str]
) -> None:
    piece = check("smbios", data)[0]
    told = {(row.offset, row.name, row.value, row.meaning) for row in piece.rows if row.kind == "field"}
    assert expected <= told
    assert [row.hex for row in piece.rows if row.kind == "undecoded"] == kept


def test_the_sku_of_a_chassis_stands_behind_its_contained_elements() -> None:
    """DSP0134 section 7.4: at 15h and Contained Element Count times Record Length on."""
    data = structure("03 1c 00 03 00 89 00 00 00 03 03 03 03 00 00 00 00 00 01 02 03 a1 a2 a3 b1 b2 b3 01", "SKU-1")
    told = {row.name: (row.offset, row.value, row.meaning) for row in rows(check("smbios", data))}
    assert told["Type"] == (0x05, 0x89, "laptop, with a chassis lock")
    assert told["SKU Number"] == (0x1B, 1, "SKU-1")


@pytest.mark.parametrize("sample", SMBIOS)
def test_the_fields_of_a_table_are_what_its_decoder_reads(sample: str) -> None:
    """By another way: ``smbios`` makes values of the same bytes, and is held against what a kernel exports."""
    decoded = smbios.decode(SMBIOS[sample])
    pieces = {(piece.rows[0].value, piece.rows[2].value): piece for piece in unfold("smbios", SMBIOS[sample])}
    (system,), (battery,) = decoded.systems, decoded.portable_batteries
    told = {row.name: row for row in pieces[1, system.handle].rows}
    assert [told[name].meaning for name in ("Manufacturer", "Product Name", "Version")] == [
        text or "none given" for text in (system.manufacturer, system.product_name, system.version)
    ]
    told = {row.name: row for row in pieces[22, battery.handle].rows}
    capacity = told["Design Capacity"].value, told["Design Capacity Multiplier"].value
    assert battery.design_capacity_mwh == int(str(capacity[0])) * int(str(capacity[1]))
    chemistry = told["Device Chemistry"]
    assert (chemistry.value, chemistry.meaning) == (2, "unknown")
    assert battery.chemistry is None, "the decoder leaves out what says that it is unknown"


# --- extension blocks of an EDID -----------------------------------------------------------


def extended(block: str) -> bytes:
    """The sample's base block, and one extension block with its checksum."""
    body = bytes.fromhex(block).ljust(127, b"\0")
    return SAMPLES["connector.edid"][:128] + body + bytes([-sum(body) % 256])


EXTENSIONS = {
    # Layout: CTA-861 section 7.5.1 and 7.5.2; an extended tag: 7.5.6 (from memory).
    "CTA-861": (
        "02 03 0c 40 42 90 1f 23 09 07 07 e1",
        [
            (132, "Video Data Block", "42901f"),
            (135, "Audio Data Block", "23090707"),
        ],
        "a data block of 2 bytes, but only 1 are before the timings",
    ),
    "CTA-861 with an extended tag": (
        "02 03 08 00 e3 05 03 00",
        [(132, "Colorimetry Data Block", "e3050300")],
        "",
    ),
    "CTA-861 with no room for its timings": (
        "02 03 03 00",
        [],
        "the timings begin at 3, outside the block's 4 to 127",
    ),
    # Layout: VESA DisplayID 1.3 section 2 (from memory).
    "DisplayID": (
        "70 12 06 00 00 12 00 03 01 02 03 cd",
        [(133, "Tiled Display Topology Data Block", "120003010203")],
        "",
    ),
    "DisplayID longer than its block": ("70 12 7f 00 00", [], "a section of 127 bytes does not fit into the block"),
}


@pytest.mark.parametrize(("block", "expected", "problem"), EXTENSIONS.values(), ids=EXTENSIONS)
def test_an_extension_block_is_told_by_its_data_blocks(
    block: str, expected: list[tuple[int, str, str]], problem: str
) -> None:
    piece = check("edid", extended(block))[1]
    found = [(row.offset, row.name, row.hex) for row in piece.rows if row.name.endswith("Data Block")]
    assert found == expected
    wrong = [str(row.value) for row in piece.rows if row.kind == "defect"]
    assert wrong == ([problem] if problem else [])
    told = {row.name: row.meaning for row in piece.rows}
    assert told["Checksum"] == "adds up"
    assert told.get("Section Checksum", "adds up") == "adds up"


# --- what is not known, and what is wrong -------------------------------------------------

CONFIGURATION = "12 01 00 02 00 00 00 40 09 12 01 00 00 01 00 00 00 01  09 02 {total} 00 01 01 00 80 32"
ODD = {
    "a descriptor of an unknown type is kept": (
        f"{CONFIGURATION.format(total='16')} 09 04 00 00 00 ff 00 00 00 04 41 aa bb",
        ("descriptor of type 41", "undecoded", 38, "aabb"),
    ),
    "a longer descriptor than the standard's": (
        f"{CONFIGURATION.format(total='14')} 0b 04 00 00 00 ff 00 00 00 aa bb",
        ("interface", "undecoded", 36, "aabb"),
    ),
    "bytes after the last descriptor": (
        f"{CONFIGURATION.format(total='12')} 09 04 00 00 00 ff 00 00 00 40 41",
        ("", "undecoded", 36, "4041"),
    ),
}


@pytest.mark.parametrize(("data", "expected"), ODD.values(), ids=ODD.keys())
def test_what_is_not_decoded_stays_with_its_offset(data: str, expected: tuple[str, str, int, str]) -> None:
    last = check("descriptors", bytes.fromhex(data))[-1]
    row = next(row for row in reversed(last.rows) if row.kind == "undecoded")
    assert (last.name, row.kind, row.offset, row.hex) == expected


def test_a_defect_stands_in_the_descriptor_that_has_it() -> None:
    data = bytearray(APPENDIX_E)
    data[31] = 2
    piece = unfold("descriptors", bytes(data))[2]
    assert [(row.offset, row.value) for row in piece.rows if row.kind == "defect"] == [
        (31, "bNumEndpoints is 2, found 1")
    ]
    at = [row.kind for row in piece.rows].index("defect")
    assert piece.rows[at - 1].name == "bNumEndpoints"


def test_a_block_of_an_unknown_name_is_shown_as_it_is() -> None:
    assert check("novelty", b"\x01\x02") == (
        Unfolded(
            offset=0,
            length=2,
            name="",
            rows=(Row(kind="undecoded", offset=0, length=2, name="", hex="0102", value=""),),
        ),
    )


@pytest.mark.parametrize("name", BLOCKS)
def test_no_bytes_are_no_error(name: str) -> None:
    assert rows(check(name, b""), "defect")


ALL = SAMPLES | SMBIOS


@pytest.mark.parametrize("sample", ALL)
def test_cut_at_every_length_no_byte_is_lost(sample: str) -> None:
    name = "smbios" if sample in SMBIOS else block_of(sample)
    data = ALL[sample]
    for length in range(0, len(data), max(1, len(data) // 200)):
        check(name, data[:length])


def test_a_report_beyond_the_kernels_limit_is_shown_as_not_decoded() -> None:
    data = b"\x05\x01" * (hid_report.LONGEST // 2 + 3)
    last = check("report_descriptor", data)[-1]
    assert (last.offset, last.length, last.name) == (hid_report.LONGEST, 6, "")


@pytest.mark.properties
@given(st.sampled_from(sorted(BLOCKS)), st.binary(max_size=300))
def test_any_bytes_are_unfolded(name: str, data: bytes) -> None:
    check(name, data)


@pytest.mark.properties
@given(st.sampled_from(sorted(SAMPLES)), st.data())
def test_flipped_and_cut_samples_are_unfolded(sample: str, draw: st.DataObject) -> None:
    data = bytearray(SAMPLES[sample])
    for _ in range(draw.draw(st.integers(1, 4))):
        data[draw.draw(st.integers(0, len(data) - 1))] = draw.draw(st.integers(0, 255))
    check(block_of(sample), bytes(data[: draw.draw(st.integers(0, len(data)))]))


@pytest.mark.parametrize("name", sorted(BLOCKS))
def test_of_a_block_beyond_all_measure_the_rest_is_told_as_not_decoded(name: str) -> None:
    """Seven bytes of an endpoint over and over: each is a descriptor, an item or a block of its own."""
    data = bytes.fromhex("07058103400001") * 150_000
    pieces = unfold(name, data)
    assert sum(piece.length for piece in pieces) == len(data)
    rest = pieces[-1]
    assert (rest.offset, rest.length) == (LONGEST, len(data) - LONGEST)
    assert [row.kind for row in rest.rows] == ["undecoded", "defect"]
    assert rest.rows[1].value == "the block is longer than 65536 bytes: the rest is not decoded"
    assert rest.rows[0].hex == data[LONGEST:].hex()
