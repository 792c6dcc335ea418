"""Descriptors written by the standards' layouts are read back as they were meant, with no defect."""

from __future__ import annotations

from struct import pack

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.capture.decode import hid_report, usb_descriptors

EndpointFields = tuple[int, bool, int, int, int]
InterfaceFields = tuple[int, int, int, list[EndpointFields]]

byte = st.integers(0, 255)
word = st.integers(0, 0xFFFF)

# Layouts: include/uapi/linux/usb/ch9.h, usb_endpoint_descriptor, usb_interface_descriptor and so on.
endpoint_fields = st.tuples(st.integers(1, 15), st.booleans(), byte, word, byte)
interface_fields = st.tuples(byte, byte, byte, st.lists(endpoint_fields, max_size=4))
configuration_fields = st.tuples(byte, byte, byte, st.lists(interface_fields, max_size=5))
device_fields = st.tuples(word, byte, byte, byte, byte, word, word, word, byte, byte, byte)


def written_endpoint(fields: EndpointFields) -> bytes:
    number, inwards, attributes, max_packet_size, interval = fields
    return pack("<BBBBHB", 7, 5, number | inwards << 7, attributes, max_packet_size, interval)


def written_configuration(value: int, attributes: int, max_power: int, interfaces: list[InterfaceFields]) -> bytes:
    body = b"".join(
        pack("<BBBBBBBBB", 9, 4, number, 0, len(endpoints), *triple, 0) + b"".join(map(written_endpoint, endpoints))
        for number, (*triple, endpoints) in enumerate(interfaces)
    )
    return pack("<BBHBBBBB", 9, 2, 9 + len(body), len(interfaces), value, 0, attributes, max_power) + body


@pytest.mark.properties
@given(device_fields, st.lists(configuration_fields, max_size=3))
def test_usb_descriptors(
    device: tuple[int, ...], configurations: list[tuple[int, int, int, list[InterfaceFields]]]
) -> None:
    data = pack("<BBHBBBBHHHBBBB", 18, 1, *device, len(configurations))
    data += b"".join(written_configuration(*fields) for fields in configurations)
    decoded = usb_descriptors.decode(data)
    assert decoded.defects == ()
    found = decoded.device
    assert found is not None
    assert (
        found.bcd_usb,
        *found.class_triple,
        found.max_packet_size_0,
        found.vendor,
        found.product,
        found.bcd_device,
        found.manufacturer_index,
        found.product_index,
        found.serial_number_index,
    ) == device
    assert [
        (
            configuration.value,
            configuration.attributes,
            configuration.max_power,
            [
                (
                    *interface.class_triple,
                    [
                        (end.number, bool(end.address & 0x80), end.attributes, end.max_packet_size, end.interval)
                        for end in interface.endpoints
                    ],
                )
                for interface in configuration.interfaces
            ],
        )
        for configuration in decoded.configurations
    ] == configurations


# HID 1.11 section 6.2.2: an application collection that names its usage in two ways,
# and holds fields of numbered reports, inside a physical collection or not.
application_fields = st.tuples(
    st.integers(1, 0xFFFF),
    st.integers(1, 0xFFFF),
    st.sampled_from(["short", "whole"]),
    st.lists(st.tuples(st.integers(1, 255), st.sampled_from([0x81, 0x91, 0xB1]), st.booleans()), max_size=4),
)


def written_application(page: int, usage: int, width: str, fields: list[tuple[int, int, bool]]) -> bytes:
    short = pack("<BHBH", 0x06, page, 0x0A, usage)
    whole = pack("<BBBI", 0x05, 0x01, 0x0B, page << 16 | usage)
    body = b""
    for report_id, main_item, physical in fields:
        field = bytes([0x85, report_id, 0x75, 8, 0x95, 3, main_item, 0x02])
        body += b"\xa1\x00" + field + b"\xc0" if physical else field
    return (short if width == "short" else whole) + b"\xa1\x01" + body + b"\xc0"


@pytest.mark.properties
@given(st.lists(application_fields, max_size=6))
def test_hid_report_descriptors(applications: list[tuple[int, int, str, list[tuple[int, int, bool]]]]) -> None:
    data = b"".join(written_application(*fields) for fields in applications)
    report = hid_report.decode(data)
    assert [defect.problem for defect in report.defects] == ([] if data else ["no bytes at all"])
    assert [(one.usage_page, one.usage, one.report_ids) for one in report.applications] == [
        (page, usage, tuple(sorted({report_id for report_id, _, _ in fields})))
        for page, usage, _, fields in applications
    ]
    assert sum(one.bits for one in report.reports) == 24 * sum(len(fields) for _, _, _, fields in applications)
