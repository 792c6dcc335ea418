from __future__ import annotations

import pytest

from usbwatch.capture.decode.usb_values import Association, Configuration, DeviceDescriptor, Endpoint, HidDescriptor

ENDPOINT = Endpoint(offset=0, length=7, address=0x81, attributes=0x03, max_packet_size=8, interval=10)
CONFIGURATION = Configuration(
    offset=18,
    length=9,
    total_length=9,
    num_interfaces=0,
    value=1,
    configuration_index=0,
    attributes=0x80,
    max_power=50,
)


# USB 2.0 table 9-13 (table number from memory), bits checked in include/uapi/linux/usb/ch9.h.
@pytest.mark.parametrize(
    ("address", "attributes", "expected"),
    [
        (0x81, 0x03, (1, "in", "interrupt")),
        (0x02, 0x02, (2, "out", "bulk")),
        (0x0F, 0x01, (15, "out", "isochronous")),
        (0x81, 0x0D, (1, "in", "isochronous")),
        (0x80, 0x00, (0, "both", "control")),
    ],
)
def test_endpoint_address_and_attributes(address: int, attributes: int, expected: tuple[int, str, str]) -> None:
    endpoint = ENDPOINT._replace(address=address, attributes=attributes)
    assert (endpoint.number, endpoint.direction, endpoint.transfer_type) == expected


# USB 2.0 section 9.6.6: 1024 bytes, three packets per microframe, is 0x1400.
@pytest.mark.parametrize(
    ("max_packet_size", "expected"),
    [(0x0008, (8, 0)), (0x0200, (512, 0)), (0x0C00, (1024, 1)), (0x1400, (1024, 2))],
)
def test_packet_size_of_high_speed_endpoints(max_packet_size: int, expected: tuple[int, int]) -> None:
    endpoint = ENDPOINT._replace(max_packet_size=max_packet_size)
    assert (endpoint.packet_bytes, endpoint.additional_transactions) == expected


# drivers/usb/core/usb.h, usb_get_max_power: 2 mA units, 8 mA at SuperSpeed. USB 2.0 allows 500 mA, USB 3.0 900 mA.
@pytest.mark.parametrize(
    ("max_power", "superspeed", "milliamperes"), [(250, False, 500), (112, True, 896), (0, True, 0)]
)
def test_power_unit_depends_on_the_speed(max_power: int, superspeed: bool, milliamperes: int) -> None:
    assert CONFIGURATION._replace(max_power=max_power).max_power_ma(superspeed=superspeed) == milliamperes


# drivers/usb/core/hcd.c comments: bit 7 must be set, 6 self-powered, 5 remote wakeup.
@pytest.mark.parametrize(
    ("attributes", "self_powered", "remote_wakeup"),
    [(0x80, False, False), (0xC0, True, False), (0xA0, False, True), (0xE0, True, True)],
)
def test_configuration_attributes(attributes: int, self_powered: bool, remote_wakeup: bool) -> None:
    configuration = CONFIGURATION._replace(attributes=attributes)
    assert (configuration.self_powered, configuration.remote_wakeup) == (self_powered, remote_wakeup)


def test_device_identity_is_lower_case_hex() -> None:
    device = DeviceDescriptor(
        offset=0,
        length=18,
        bcd_usb=0x0200,
        device_class=0xEF,
        device_subclass=0x02,
        device_protocol=0x01,
        max_packet_size_0=64,
        vendor=0x1209,
        product=0x000A,
        bcd_device=0x0100,
        manufacturer_index=0,
        product_index=0,
        serial_number_index=0,
        num_configurations=1,
    )
    assert device.identity == "1209:000a"
    assert device.class_triple == (0xEF, 0x02, 0x01)


def test_association_covers_its_run_of_interfaces() -> None:
    association = Association(
        offset=0,
        length=8,
        first_interface=2,
        interface_count=2,
        function_class=0x0E,
        function_subclass=0x03,
        function_protocol=0x00,
        function_index=0,
    )
    assert [number for number in range(6) if association.covers(number)] == [2, 3]


def test_hid_descriptor_without_a_report_descriptor_announces_none() -> None:
    hid = HidDescriptor(
        offset=0, length=9, bcd_hid=0x0111, country_code=0, num_descriptors=1, subordinates=((0x23, 16),)
    )
    assert hid.report_descriptor_length == 0
