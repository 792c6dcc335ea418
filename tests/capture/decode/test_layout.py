from __future__ import annotations

import pytest

from usbwatch.capture.decode.class_values import ClassDescriptor
from usbwatch.capture.decode.layout import SUBTYPED_HEAD, Layout, guid, number, numbers, octets, read, to_end

UNIT = Layout(
    "unit", (number("wKind", 2), number("bCount"), numbers("waSource", 2, "bCount"), number("iName", optional=True))
)


def fields(descriptor: ClassDescriptor) -> dict[str, object]:
    return {field.name: field.value for field in descriptor.fields}


@pytest.mark.parametrize(
    ("data", "expected", "rest", "problems"),
    [
        pytest.param("0b 24 09 02 01 02 03 00 04 00 05", {"waSource": (3, 4), "iName": 5}, "", [], id="whole"),
        pytest.param("06 24 09 02 01 00", {"waSource": ()}, "", [], id="an old release ends before an optional field"),
        pytest.param(
            "09 24 09 02 01 00 07 aa bb", {"waSource": (), "iName": 7}, "aabb", [], id="a newer one is longer"
        ),
        pytest.param(
            "0b 24 09 02 01 03 03 00 04 00 05",
            {"bCount": 3, "waSource": (3, 4)},
            "05",
            [(106, "waSource should have 6 bytes, there are 5")],
            id="claims more than there is",
        ),
        pytest.param(
            "05 24 09 02 01",
            {"bLength": 5, "bDescriptorType": 0x24, "bDescriptorSubType": 9},
            "0201",
            [(100, "unit descriptor of 5 bytes, the standard has at least 6; kept as it came")],
            id="too short to be believed",
        ),
        pytest.param(
            "02 24",
            {"bLength": 2, "bDescriptorType": 0x24},
            "",
            [(100, "unit descriptor of 2 bytes, the standard has at least 6; kept as it came")],
            id="ends in its head",
        ),
    ],
)
def test_reading(data: str, expected: dict[str, object], rest: str, problems: list[tuple[int, str]]) -> None:
    descriptor, defects = read(bytes.fromhex(data), 100, UNIT, SUBTYPED_HEAD)
    assert expected.items() <= fields(descriptor).items()
    assert ("iName" in expected) == ("iName" in fields(descriptor))
    assert descriptor.rest == rest
    assert [(defect.offset, defect.problem) for defect in defects] == problems


def test_without_a_layout_the_head_is_read() -> None:
    descriptor, defects = read(bytes.fromhex("05 24 09 aa bb"), 0, None, SUBTYPED_HEAD)
    assert (descriptor.name, descriptor.rest, defects) == ("", "aabb", [])
    assert fields(descriptor) == {"bLength": 5, "bDescriptorType": 0x24, "bDescriptorSubType": 9}


def test_what_is_left_but_for_the_end() -> None:
    layout = Layout("map", (octets("bmControls", to_end(but=1)), number("iName")))
    assert fields(read(bytes.fromhex("06 24 01 02 03 07"), 0, layout, ())[0]) == {
        "bmControls": "0624010203",
        "iName": 7,
    }
    assert fields(read(b"\x07", 0, layout, ())[0]) == {"bmControls": "", "iName": 7}


def test_a_guid_has_its_first_three_fields_little_endian() -> None:
    # UVC uncompressed payload 1.1 table 2-1, from memory: YUY2 is 32595559-0000-0010-8000-00aa00389b71
    # and stands in a descriptor as its four characters first.
    raw = b"YUY2" + bytes.fromhex("00 00 10 00 80 00 00 aa 00 38 9b 71")
    descriptor, _ = read(raw, 0, Layout("format", (guid("guidFormat"),)), ())
    assert descriptor.text("guidFormat") == "32595559-0000-0010-8000-00aa00389b71"


def test_asking_for_a_field_that_is_not_there_or_is_another_kind() -> None:
    descriptor, _ = read(bytes.fromhex("08 24 09 02 01 01 03 00"), 0, UNIT, SUBTYPED_HEAD)
    assert descriptor.number("wKind") == 0x0102
    assert descriptor.numbers("waSource") == (3,)
    assert (descriptor.number("iName"), descriptor.number("waSource")) == (None, None)
    assert (descriptor.numbers("wKind"), descriptor.text("wKind")) == ((), "")
