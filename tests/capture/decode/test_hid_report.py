from __future__ import annotations

import io
from pathlib import Path

import hid_parser
import pytest
from hid_parser.data import UsagePages
from support import usb_ids
from support.hex_files import bytes_of, kernel_parse

from usbwatch.capture.decode import hid_report
from usbwatch.capture.decode.hid_report import HidReport
from usbwatch.model import FUNCTIONS

DATA = Path(__file__).parent / "data"
FILES = sorted(DATA.glob("*.report_descriptor.hex"))

# HID 1.11 appendix E.6 (keyboard) and E.10 (mouse), read in a reproduction.
KEYBOARD = bytes.fromhex(
    "05 01 09 06 a1 01 05 07 19 e0 29 e7 15 00 25 01 75 01 95 08 81 02 95 01 75 08 81 01 95 05 75 01"
    "05 08 19 01 29 05 91 02 95 01 75 03 91 01 95 06 75 08 15 00 25 65 05 07 19 00 29 65 81 00 c0"
)
MOUSE = bytes.fromhex(
    "05 01 09 02 a1 01 09 01 a1 00 05 09 19 01 29 03 15 00 25 01 95 03 75 01 81 02 95 01 75 05 81 01"
    "05 01 09 30 09 31 15 81 25 7f 75 08 95 02 81 06 c0 c0"
)
# Documentation/usb/gadget_hid.rst: the same keyboard with other flags on its constant fields.
GADGET_KEYBOARD = KEYBOARD.replace(b"\x81\x01", b"\x81\x03").replace(b"\x91\x01", b"\x91\x03")
# Documentation/hid/hidintro.rst: a mouse with a wheel, and a device of five application collections.
WHEEL_MOUSE = bytes.fromhex(
    "05 01 09 02 a1 01 09 01 a1 00 05 09 19 01 29 03 15 00 25 01 75 01 95 03 81 02 75 05 95 01 81 01"
    "05 01 09 30 09 31 09 38 15 81 25 7f 75 08 95 03 81 06 c0 c0"
)
FIVE_COLLECTIONS = bytes.fromhex(
    "05 01 09 02 a1 01 85 01 05 09 19 01 29 05 15 00 25 01 95 05 75 01 81 02 95 01 75 03 81 01 05 01"
    "09 30 09 31 16 00 f8 26 ff 07 75 0c 95 02 81 06 09 38 15 80 25 7f 75 08 95 01 81 06 05 0c 0a 38"
    "02 15 80 25 7f 75 08 95 01 81 06 c0 05 01 09 02 a1 01 85 02 05 09 19 01 29 05 15 00 25 01 95 05"
    "75 01 81 02 95 01 75 03 81 01 05 01 09 30 09 31 16 00 f8 26 ff 07 75 0c 95 02 81 06 09 38 15 80"
    "25 7f 75 08 95 01 81 06 05 0c 0a 38 02 15 80 25 7f 75 08 95 01 81 06 c0 05 01 09 07 a1 01 85 05"
    "05 07 15 00 25 01 09 29 09 3e 09 4b 09 4e 09 e3 09 e8 09 e8 09 e8 75 01 95 08 81 02 95 00 81 01"
    "c0 05 0c 09 01 a1 01 85 06 15 00 25 01 75 01 95 01 09 3f 81 06 09 3f 81 06 09 3f 81 06 09 3f 81"
    "06 09 3f 81 06 09 3f 81 06 09 3f 81 06 09 3f 81 06 c0 05 0c 09 01 a1 01 85 03 09 05 15 00 26 ff"
    "00 75 08 95 02 b1 02 c0"
)
PUBLISHED = {
    "keyboard of appendix E.6": KEYBOARD,
    "mouse of appendix E.10": MOUSE,
    "keyboard of gadget_hid.rst": GADGET_KEYBOARD,
    "mouse of hidintro.rst": WHEEL_MOUSE,
    "five collections of hidintro.rst": FIVE_COLLECTIONS,
}
ALL = {**PUBLISHED, **{path.name.partition(".")[0]: bytes_of(path) for path in FILES}}


def usages(report: HidReport) -> list[tuple[int, int]]:
    return [(application.usage_page, application.usage) for application in report.applications]


def placed(report: HidReport) -> list[tuple[int, str, int]]:
    return [(defect.offset, defect.problem, defect.length) for defect in report.defects]


def bits(report: HidReport) -> dict[tuple[str, int], int]:
    return {(one.kind, one.report_id): one.bits for one in report.reports}


# --- published worked examples ------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "usage", "expected_bits", "functions"),
    [
        pytest.param(KEYBOARD, (1, 6), {("input", 0): 64, ("output", 0): 8}, ("keyboard",), id="E.6 keyboard"),
        pytest.param(GADGET_KEYBOARD, (1, 6), {("input", 0): 64, ("output", 0): 8}, ("keyboard",), id="gadget_hid"),
        pytest.param(MOUSE, (1, 2), {("input", 0): 24}, ("mouse", "pointing-device"), id="E.10 mouse"),
        pytest.param(WHEEL_MOUSE, (1, 2), {("input", 0): 32}, ("mouse", "pointing-device"), id="hidintro mouse"),
    ],
)
def test_a_device_of_one_collection(
    data: bytes, usage: tuple[int, int], expected_bits: dict[tuple[str, int], int], functions: tuple[str, ...]
) -> None:
    report = hid_report.decode(data)
    assert usages(report) == [usage]
    assert report.applications[0].report_ids == ()
    assert report.applications[0].offset == 4
    assert bits(report) == expected_bits
    assert report.defects == ()
    assert hid_report.functions_of(report) == functions


def test_the_five_collections_that_hidintro_tells_of() -> None:
    # "two Mouse Application Collections (… Reports IDs 1 and 2 …), a Keypad Application Collection (… Report ID 5)
    # and two Consumer Controls Application Collections, (with Report IDs 6 and 3, respectively)"
    report = hid_report.decode(FIVE_COLLECTIONS)
    assert [(*usage, one.report_ids) for usage, one in zip(usages(report), report.applications, strict=True)] == [
        (0x01, 0x02, (1,)),
        (0x01, 0x02, (2,)),
        (0x01, 0x07, (5,)),
        (0x0C, 0x01, (6,)),
        (0x0C, 0x01, (3,)),
    ]
    # Of the last consumer control it says that it sends three bytes, the report id and two for the headphone.
    assert bits(report)["feature", 3] == 16
    assert report.defects == ()


# --- a reference library, and the kernel -------------------------------------------


def reference_collections(data: bytes) -> list[tuple[str, str]]:
    """Usage page and usage of each application collection, as hid-parser prints them."""
    text = io.StringIO()
    hid_parser.ReportDescriptor(list(data)).print(file=text)
    collections, page, usage = [], "", ""
    for line in text.getvalue().splitlines():
        name, _, rest = line.strip().partition(" (")
        if name == "Usage Page":
            page = rest.removesuffix(")")
        elif name == "Usage":
            usage = rest.removesuffix(")")
        elif line.strip() == "Collection (Application)":
            collections.append((page, usage))
    return collections


def reference_name(usage_page: int, usage: int) -> tuple[str, str]:
    try:
        name = UsagePages.get_subdata(usage_page).get_description(usage)
    except (KeyError, ValueError):
        name = f"0x{usage:04x}"
    return UsagePages.get_description(usage_page), name


@pytest.mark.filterwarnings("ignore::hid_parser.HIDComplianceWarning")
@pytest.mark.parametrize("data", ALL.values(), ids=ALL)
def test_application_collections_agree_with_hid_parser(data: bytes) -> None:
    ours = [reference_name(*usage) for usage in usages(hid_report.decode(data))]
    assert ours == reference_collections(data)


@pytest.mark.filterwarnings("ignore::hid_parser.HIDComplianceWarning")
@pytest.mark.parametrize("data", ALL.values(), ids=ALL)
def test_report_sizes_agree_with_hid_parser(data: bytes) -> None:
    reference = hid_parser.ReportDescriptor(list(data))
    expected = {
        ("input", number or 0): int(reference.get_input_report_size(number)) for number in reference.input_report_ids
    } | {
        ("output", number or 0): int(reference.get_output_report_size(number)) for number in reference.output_report_ids
    }
    # Feature reports are left out: hid-parser 0.1.0 counts a field of two values with one usage once.
    assert {key: size for key, size in bits(hid_report.decode(data)).items() if key[0] != "feature"} == expected


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name.partition(".")[0])
def test_functions_fit_the_input_node_that_the_kernel_made(path: Path) -> None:
    node = kernel_parse(path)["input"]
    functions = hid_report.functions_of(hid_report.decode(bytes_of(path)))
    handlers = node["handlers"].split()
    # include/uapi/linux/input-event-codes.h: property 0 pointer, 2 button pad; event type 2 relative, 3 absolute.
    assert ("keyboard" in functions) == ("kbd" in handlers)
    assert ("pointing-device" in functions) == ("mouse" in handlers)
    assert ("mouse" in functions) == bool(int(node["ev"], 16) >> 2 & 1)
    assert ("touchpad" in functions) == (int(node["properties"], 16) == 0b101)


# --- functions ----------------------------------------------------------------------


def described(*collections: tuple[int, int]) -> HidReport:
    """A device with these application collections, one empty report each."""
    return hid_report.decode(
        b"".join(
            bytes([0x06, *page.to_bytes(2, "little"), 0x0A, *usage.to_bytes(2, "little"), 0xA1, 0x01, 0xC0])
            for page, usage in collections
        )
    )


# Codes from usb.ids, by the names that the HID Usage Tables give them.
@pytest.mark.parametrize(
    ("page", "usage", "functions"),
    [
        ("Generic Desktop Controls", "Pointer", ("pointing-device",)),
        ("Generic Desktop Controls", "Mouse", ("mouse", "pointing-device")),
        ("Generic Desktop Controls", "Keyboard", ("keyboard",)),
        ("Generic Desktop Controls", "Keypad", ()),
        ("Generic Desktop Controls", "Joystick", ()),
        ("Generic Desktop Controls", "System Control", ()),
        ("Consumer", "Consumer Control", ()),
        ("Digitizer", "Digitizer", ("pen",)),
        ("Digitizer", "Pen", ("pen",)),
        ("Digitizer", "Stylus", ("pen",)),
        ("Digitizer", "Touch Screen", ("touchscreen",)),
        ("Digitizer", "Touch Pad", ("pointing-device", "touchpad")),
        ("Digitizer", "Light Pen", ("pen",)),
        ("Power Device Page", "Battery System", ()),
        ("Power Device Page", "Battery", ()),
        ("Power Device Page", "UPS", ()),
    ],
)
def test_functions_of_one_application_collection(page: str, usage: str, functions: tuple[str, ...]) -> None:
    assert hid_report.functions_of(described(usb_ids.usage_codes(page, usage))) == functions  # type: ignore[arg-type]


# include/linux/hid-sensor-ids.h: 0x200001 collection, 0x200041 ambient light, 0x200073 accelerometer.
@pytest.mark.parametrize("usage", [0x01, 0x41, 0x73], ids=hex)
def test_sensors_are_told_by_their_page(usage: int) -> None:
    assert hid_report.functions_of(described((0x20, usage))) == ("sensor",)


@pytest.mark.parametrize(
    ("collections", "functions"),
    [
        pytest.param([(0x01, 0x02), (0x0D, 0x05)], ("pointing-device", "touchpad"), id="touchpad, mouse as fallback"),
        pytest.param(
            [(0x0D, 0x05), (0x0D, 0x0E), (0x01, 0x02)],
            ("pointing-device", "touchpad"),
            id="touchpad with configuration",
        ),
        pytest.param([(0x0D, 0x04), (0x01, 0x02)], ("touchscreen",), id="touch screen, mouse as fallback"),
        pytest.param([(0x0D, 0x04), (0x0D, 0x02)], ("pen", "touchscreen"), id="touch screen that takes a pen"),
        pytest.param(
            [(0x01, 0x06), (0x0C, 0x01), (0x01, 0x80)], ("keyboard",), id="keyboard with media and power keys"
        ),
        pytest.param(
            [(0x01, 0x06), (0x01, 0x02)], ("keyboard", "mouse", "pointing-device"), id="keyboard and mouse in one"
        ),
        pytest.param([(0x0D, 0x0E), (0x01, 0x02)], ("mouse", "pointing-device"), id="mouse that can be configured"),
        pytest.param([(0x01, 0x0C)], (), id="radio keys"),
        pytest.param([(0xFF00, 0x01)], (), id="vendor page"),
        pytest.param([], (), id="nothing"),
    ],
)
def test_the_most_specific_collections_say_the_functions(
    collections: list[tuple[int, int]], functions: tuple[str, ...]
) -> None:
    assert hid_report.functions_of(described(*collections)) == functions


def test_every_function_is_of_the_vocabulary() -> None:
    pages = [described(*((page, usage) for usage in range(256))) for page in range(256)]
    known = {function for report in pages for function in hid_report.functions_of(report)}
    assert {"keyboard", "touchpad", "sensor"} <= known <= set(FUNCTIONS)


# --- how items bind (HID 1.11 section 6.2.2; drivers/hid/hid-core.c) ------------------


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param("05 01 09 06 a1 01 c0", [(1, 6)], id="one-byte usage"),
        pytest.param("06 00 ff 0a 34 12 a1 01 c0", [(0xFF00, 0x1234)], id="two-byte page and usage"),
        pytest.param("05 01 0b 05 00 0d 00 a1 01 c0", [(0x0D, 5)], id="a four-byte usage carries its page"),
        pytest.param("05 01 09 05 05 0d a1 01 c0", [(0x0D, 5)], id="the page in force at the collection counts"),
        pytest.param("05 01 09 06 09 02 a1 01 c0", [(1, 6)], id="the first of two usages"),
        pytest.param("05 01 09 06 a1 02 a1 01 c0 c0", [(0, 0)], id="a main item takes the usage away"),
        pytest.param("05 0d a4 05 01 b4 09 05 a1 01 c0", [(0x0D, 5)], id="Pop brings the pushed page back"),
        pytest.param("05 01 09 02 a1 01 09 06 a1 01 c0 c0", [(1, 2), (1, 6)], id="one application inside another"),
        pytest.param("05 01 19 06 29 07 a1 01 c0", [(1, 6)], id="the first of a range of usages"),
        pytest.param("05 01 09 06 a1 00 c0", [], id="a physical collection is no application"),
        pytest.param("05 01 09 06 a1 81 c0", [], id="a collection of the vendor's kind is no application"),
    ],
)
def test_what_a_collection_is_called(data: str, expected: list[tuple[int, int]]) -> None:
    assert usages(hid_report.decode(bytes.fromhex(data))) == expected


def test_a_field_counts_for_the_innermost_application() -> None:
    field = "75 08 95 01 81 02"
    data = f"05 01 09 02 a1 01 85 01 {field} 09 06 a1 01 85 02 a1 00 {field} c0 c0 85 03 {field} c0"
    report = hid_report.decode(bytes.fromhex(data))
    assert [one.report_ids for one in report.applications] == [(1, 3), (2,)]


# --- bytes that are wrong (own constructions) ---------------------------------------


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param("", (0, "no bytes at all", 0), id="empty file"),
        pytest.param("05 01", (0, "no application collection", 0), id="nothing described"),
        pytest.param("a1 01 c0", (0, "application collection without a usage", 0), id="no usage"),
        pytest.param("09 06 a1 01", (4, "collections left open at the end: 1", 0), id="collection left open"),
        pytest.param("09 06 a1 01 c0 c0", (5, "End Collection without a collection", 0), id="closed twice"),
        pytest.param("09 06 a1 01 c0 0a 01", (5, "item of 3 bytes, but only 2 are there", 2), id="item cut off"),
    ],
)
def test_what_is_wrong_with_the_whole_is_named_with_its_offset(data: str, expected: tuple[int, str, int]) -> None:
    assert placed(hid_report.decode(bytes.fromhex(data))) == [expected]


# Between a whole collection before and one behind, which shows that reading goes on.
@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param("b4", (0, "Pop without a Push", 0), id="Pop alone"),
        pytest.param("a4 a4 a4 a4 a4", (4, "more than 4 Push items deep", 0), id="Push too deep"),
        pytest.param("85 00", (0, "Report ID is 0, allowed is 1 to 255", 0), id="report id 0"),
        pytest.param("86 00 01", (0, "Report ID is 256, allowed is 1 to 255", 0), id="report id 256"),
        pytest.param("76 01 01", (0, "Report Size is 257, allowed is 0 to 256", 0), id="report size"),
        pytest.param("97 ff ff ff ff", (0, "Report Count is 4294967295, allowed is 0 to 12288", 0), id="report count"),
        pytest.param("fe 02 10 a1 01", (0, "long item, of which the standard defines none; passed over", 5), id="long"),
        pytest.param("0c", (0, "reserved item with tag 0, which has no meaning", 0), id="reserved type"),
        pytest.param("d0", (0, "main item with tag 13, which has no meaning", 0), id="reserved main tag"),
        pytest.param("68", (0, "local item with tag 6, which has no meaning", 0), id="reserved local tag"),
    ],
)
def test_what_is_wrong_with_an_item_is_named_with_its_offset(data: str, expected: tuple[int, str, int]) -> None:
    whole = bytes.fromhex("05 01 09 06 a1 01 c0")
    report = hid_report.decode(whole + bytes.fromhex(data) + whole)
    offset, problem, length = expected
    assert placed(report) == [(len(whole) + offset, problem, length)]
    assert usages(report) == [(1, 6), (1, 6)]


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param("fe", (7, "item of 3 bytes, but only 1 are there", 1), id="prefix alone"),
        pytest.param("fe 09 10 aa", (7, "item of 12 bytes, but only 4 are there", 4), id="data cut off"),
    ],
)
def test_a_long_item_that_the_end_cuts_off(data: str, expected: tuple[int, str, int]) -> None:
    assert placed(hid_report.decode(bytes.fromhex("05 01 09 06 a1 01 c0" + data))) == [expected]


def test_a_value_out_of_range_is_not_used() -> None:
    report = hid_report.decode(bytes.fromhex("05 01 09 06 a1 01 75 08 95 01 97 ff ff ff ff 81 02 c0"))
    assert bits(report) == {("input", 0): 8}


@pytest.mark.parametrize("unit", [b"\xa1\x01", b"\xa4", b"\x81\x02", b"\xc0", b"\xfe\x00\x00"], ids=bytes.hex)
def test_input_without_end_is_read_up_to_the_kernels_limit(unit: bytes) -> None:
    # include/uapi/linux/hid.h: HID_MAX_DESCRIPTOR_SIZE is 4096.
    data = unit * 1_000_000
    report = hid_report.decode(data)
    assert report.defects[-1].offset == 4096
    assert report.defects[-1].length == len(data) - 4096
    assert len(report.applications) + len(report.reports) + len(report.defects) <= 2 * 4096
