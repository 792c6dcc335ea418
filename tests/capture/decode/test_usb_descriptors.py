from __future__ import annotations

from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest
from support.hex_files import bytes_of, kernel_parse

from usbwatch.capture.decode import Defect, usb_descriptors
from usbwatch.capture.decode.usb_descriptors import Configuration, Descriptors, Endpoint, Interface, RawDescriptor

DATA = Path(__file__).parent / "data"
FILES = sorted(DATA.glob("*.descriptors.hex"))


def sample(name: str) -> bytes:
    return bytes_of(DATA / f"{name}.descriptors.hex")


def parts(value: object) -> list[Any]:
    """Every value with a place, however deep; an association once, though its interfaces show it too."""
    found: dict[int, Any] = {}

    def visit(inner: object) -> None:
        if hasattr(inner, "offset"):
            found[id(inner)] = inner
        if isinstance(inner, tuple):
            for member in inner:
                visit(member)
        elif is_dataclass(inner):
            for field in fields(inner):
                visit(getattr(inner, field.name))

    visit(value)
    return list(found.values())


def unaccounted(decoded: Descriptors, length: int) -> list[int]:
    """Offsets that do not belong to exactly one descriptor or defect."""
    owners = [0] * length
    for part in parts(decoded):
        for offset in range(part.offset, part.offset + part.length):
            owners[offset] += 1
    return [offset for offset, count in enumerate(owners) if count != 1]


def problems(decoded: Descriptors) -> list[tuple[int, str]]:
    return [(defect.offset, defect.problem) for defect in decoded.defects]


def only(decoded: Descriptors) -> Configuration:
    (configuration,) = decoded.configurations
    return configuration


# --- published worked examples ------------------------------------------------------

# HID 1.11 appendix E, a keyboard with a pointing device. Read in a reproduction;
# some bytes of E.1 to E.5 and E.7 to E.9 from memory, cross-checked by the lengths in them.
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


def test_hid_appendix_e_device() -> None:
    device = usb_descriptors.decode(APPENDIX_E).device
    assert device is not None
    assert device.bcd_usb == 0x0100
    assert device.max_packet_size_0 == 8
    assert device.identity == "ffff:0001"
    assert device.bcd_device == 0x0100
    assert (device.manufacturer_index, device.product_index, device.serial_number_index) == (4, 14, 48)
    assert device.num_configurations == 1


def test_hid_appendix_e_configuration() -> None:
    decoded = usb_descriptors.decode(APPENDIX_E)
    assert decoded.defects == ()
    configuration = only(decoded)
    assert configuration.total_length == 59
    assert configuration.value == 1
    assert configuration.remote_wakeup
    assert configuration.max_power_ma(superspeed=False) == 100
    assert [interface.class_triple for interface in configuration.interfaces] == [(3, 1, 1), (3, 1, 2)]
    assert [interface.hid and interface.hid.bcd_hid for interface in configuration.interfaces] == [0x0101, 0x0101]
    assert [interface.hid and interface.hid.report_descriptor_length for interface in configuration.interfaces] == [
        63,
        50,
    ]
    endpoints = [endpoint for interface in configuration.interfaces for endpoint in interface.endpoints]
    assert [(end.number, end.direction, end.transfer_type, end.packet_bytes, end.interval) for end in endpoints] == [
        (1, "in", "interrupt", 8, 10),
        (2, "in", "interrupt", 8, 10),
    ]


# The root hubs of every Linux host: drivers/usb/core/hcd.c, with kernel 6.12 as bcdDevice.
ROOT_HUB_CONFIGURATION = "09 02 19 00 01 01 00 c0 00 09 04 00 00 01 09 00 00 00"
SUPERSPEED_CONFIGURATION = (
    "09 02 1f 00 01 01 00 c0 00 09 04 00 00 01 09 00 00 00 07 05 81 03 02 00 0c 06 30 00 00 02 00"
)


@pytest.mark.parametrize(
    ("device", "configuration", "bcd_usb", "triple", "endpoint"),
    [
        pytest.param(
            "12 01 10 01 09 00 00 40 6b 1d 01 00 12 06 03 02 01 01",
            f"{ROOT_HUB_CONFIGURATION} 07 05 81 03 02 00 ff",
            0x0110,
            (9, 0, 0),
            (2, 255),
            id="usb 1.1",
        ),
        pytest.param(
            "12 01 00 02 09 00 00 40 6b 1d 02 00 12 06 03 02 01 01",
            f"{ROOT_HUB_CONFIGURATION} 07 05 81 03 04 00 0c",
            0x0200,
            (9, 0, 0),
            (4, 12),
            id="usb 2.0",
        ),
        pytest.param(
            "12 01 00 03 09 00 03 09 6b 1d 03 00 12 06 03 02 01 01",
            SUPERSPEED_CONFIGURATION,
            0x0300,
            (9, 0, 3),
            (2, 12),
            id="usb 3.0",
        ),
        pytest.param(
            "12 01 10 03 09 00 03 09 6b 1d 03 00 12 06 03 02 01 01",
            SUPERSPEED_CONFIGURATION,
            0x0310,
            (9, 0, 3),
            (2, 12),
            id="usb 3.1",
        ),
    ],
)
def test_root_hubs_of_the_kernel(
    device: str, configuration: str, bcd_usb: int, triple: tuple[int, int, int], endpoint: tuple[int, int]
) -> None:
    decoded = usb_descriptors.decode(bytes.fromhex(device + configuration))
    assert decoded.defects == ()
    assert decoded.device is not None
    assert decoded.device.bcd_usb == bcd_usb
    assert decoded.device.bcd_device == 0x0612
    assert decoded.device.class_triple == triple
    assert only(decoded).self_powered
    assert only(decoded).max_power_ma(superspeed=True) == 0
    (interface,) = only(decoded).interfaces
    assert interface.class_triple == (9, 0, 0)
    (end,) = interface.endpoints
    assert (end.number, end.direction, end.transfer_type) == (1, "in", "interrupt")
    assert (end.packet_bytes, end.interval) == endpoint


def test_superspeed_companion_stays_with_its_endpoint() -> None:
    decoded = usb_descriptors.decode(sample("root-hub-usb3"))
    assert only(decoded).interfaces[0].endpoints[0].others == (
        RawDescriptor(offset=43, length=6, descriptor_type=0x30, hex="063000000200"),
    )


# --- the kernel's own reading of the same bytes -------------------------------------


def of_device(decoded: Descriptors, speed: str) -> dict[str, str]:
    """As drivers/usb/core/sysfs.c prints it."""
    device, configuration = decoded.device, only(decoded)
    assert device is not None
    return {
        "version": f"{device.bcd_usb >> 8:x}.{device.bcd_usb & 0xFF:02x}",
        "idVendor": f"{device.vendor:04x}",
        "idProduct": f"{device.product:04x}",
        "bcdDevice": f"{device.bcd_device:04x}",
        "bDeviceClass": f"{device.device_class:02x}",
        "bDeviceSubClass": f"{device.device_subclass:02x}",
        "bDeviceProtocol": f"{device.device_protocol:02x}",
        "bMaxPacketSize0": f"{device.max_packet_size_0}",
        "bNumConfigurations": f"{device.num_configurations}",
        "speed": speed,
        "bConfigurationValue": f"{configuration.value}",
        "bNumInterfaces": f"{configuration.num_interfaces}",
        "bmAttributes": f"{configuration.attributes:x}",
        "bMaxPower": f"{configuration.max_power_ma(superspeed=float(speed) >= 5000)}mA",
    }


def of_interface(interface: Interface) -> dict[str, str]:
    association = interface.association
    own = {
        "bAlternateSetting": f"{interface.alternate_setting}",
        "bNumEndpoints": f"{len(interface.endpoints):02x}",
        "bInterfaceClass": f"{interface.interface_class:02x}",
        "bInterfaceSubClass": f"{interface.interface_subclass:02x}",
        "bInterfaceProtocol": f"{interface.interface_protocol:02x}",
    }
    if association is None:
        return own
    return {
        **own,
        "iad_bFirstInterface": f"{association.first_interface:02x}",
        "iad_bInterfaceCount": f"{association.interface_count:02x}",
        "iad_bFunctionClass": f"{association.function_class:02x}",
        "iad_bFunctionSubClass": f"{association.function_subclass:02x}",
        "iad_bFunctionProtocol": f"{association.function_protocol:02x}",
    }


KERNEL_TRANSFER_TYPES = {"control": "Control", "isochronous": "Isoc", "bulk": "Bulk", "interrupt": "Interrupt"}


def of_endpoint(endpoint: Endpoint) -> dict[str, str]:
    """As drivers/usb/core/endpoint.c prints it."""
    return {
        "bEndpointAddress": f"{endpoint.address:02x}",
        "bInterval": f"{endpoint.interval:02x}",
        "bLength": f"{endpoint.length:02x}",
        "bmAttributes": f"{endpoint.attributes:02x}",
        "wMaxPacketSize": f"{endpoint.max_packet_size:04x}",
        "direction": endpoint.direction,
        "type": KERNEL_TRANSFER_TYPES[endpoint.transfer_type],
    }


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name.partition(".")[0])
def test_decoded_as_the_kernel_parsed_it(path: Path) -> None:
    kernel = kernel_parse(path)
    decoded = usb_descriptors.decode(bytes_of(path))
    ours = {"device": of_device(decoded, kernel["device"]["speed"])}
    for interface in only(decoded).interfaces:
        if interface.alternate_setting == 0:  # sysfs shows the setting in force, at rest the first
            ours[f"interface-{interface.number:02x}"] = of_interface(interface)
            for endpoint in interface.endpoints:
                ours[f"interface-{interface.number:02x}-ep_{endpoint.address:02x}"] = of_endpoint(endpoint)
    assert ours == kernel
    assert decoded.defects == ()


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name.partition(".")[0])
def test_every_byte_of_a_real_file_belongs_to_one_descriptor(path: Path) -> None:
    data = bytes_of(path)
    assert unaccounted(usb_descriptors.decode(data), len(data)) == []


def test_both_settings_of_the_camera_are_kept_with_their_association() -> None:
    configuration = only(usb_descriptors.decode(sample("camera")))
    settings = [(one.number, one.alternate_setting, len(one.endpoints)) for one in configuration.interfaces]
    assert settings == [(0, 0, 0), (1, 0, 0), (1, 1, 1)]
    (association,) = configuration.associations
    assert association.class_triple == (0x0E, 0x03, 0x00)
    assert {one.association for one in configuration.interfaces} == {association}


def test_class_specific_descriptors_are_kept_raw_with_their_interface() -> None:
    control = only(usb_descriptors.decode(sample("camera"))).interfaces[0]
    assert [(raw.descriptor_type, raw.length) for raw in control.others] == [(0x24, 13), (0x24, 18), (0x24, 9)]
    assert control.others[0].hex == "0d240110012800006cdc020101"


# --- what a standard allows besides -------------------------------------------------

DEVICE = bytes.fromhex("12 01 00 02 00 00 00 40 09 12 10 00 00 01 01 02 03 01")


def configuration(*descriptors: str, interfaces: int = 1) -> bytes:
    """An invented configuration block with the length it really has."""
    body = bytes.fromhex("".join(descriptors))
    return bytes([9, 2, *(9 + len(body)).to_bytes(2, "little"), interfaces, 1, 0, 0x80, 50]) + body


AUDIO = "09 04 00 00 01 01 02 00 00"
HID = "09 04 00 00 00 03 00 00 00"
VENDOR = "09 04 00 00 00 ff 00 00 00"


def test_audio_endpoint_of_nine_bytes_is_one_endpoint() -> None:
    # ch9.h: USB_DT_ENDPOINT_AUDIO_SIZE 9, with bRefresh and bSynchAddress.
    decoded = usb_descriptors.decode(DEVICE + configuration(AUDIO, "09 05 01 0d c0 00 01 00 00"))
    (endpoint,) = only(decoded).interfaces[0].endpoints
    assert (endpoint.length, endpoint.transfer_type, endpoint.direction) == (9, "isochronous", "out")
    assert decoded.defects == ()


@pytest.mark.parametrize(
    "interface", ["09 04 00 00 00 0b 00 00 00", "09 04 00 00 00 fe 01 01 00"], ids=["smart card", "dfu"]
)
def test_type_21_outside_hid_is_no_hid_descriptor(interface: str) -> None:
    # ch9.h: 0x21 is USB_DT_DFU_FUNCTIONAL too; the smart card class uses it for its own descriptor.
    decoded = usb_descriptors.decode(DEVICE + configuration(interface, "09 21 0b 00 00 00 10 10 01"))
    found = only(decoded).interfaces[0]
    assert found.hid is None
    assert [raw.descriptor_type for raw in found.others] == [0x21]
    assert decoded.defects == ()


def test_hid_descriptor_after_the_endpoint_still_counts() -> None:
    # drivers/hid/usbhid/hid-core.c looks behind the endpoint too, where HID 1.0 devices have it.
    interface = "09 04 00 00 01 03 00 00 00"
    decoded = usb_descriptors.decode(
        DEVICE + configuration(interface, "07 05 81 03 08 00 0a", "09 21 00 01 00 01 22 34 00")
    )
    hid = only(decoded).interfaces[0].hid
    assert hid is not None
    assert hid.report_descriptor_length == 0x34
    assert decoded.defects == ()


def test_hid_descriptor_with_a_physical_descriptor() -> None:
    # HID 1.11 section 6.2.1: optional pairs of type and length; 0x23 is the physical descriptor.
    decoded = usb_descriptors.decode(DEVICE + configuration(HID, "0c 21 11 01 21 02 22 41 00 23 10 00"))
    hid = only(decoded).interfaces[0].hid
    assert hid is not None
    assert hid.country_code == 0x21
    assert hid.subordinates == ((0x22, 65), (0x23, 16))
    assert hid.report_descriptor_length == 65


def test_two_configurations_each_keep_their_own() -> None:
    device = DEVICE[:17] + b"\x02"
    decoded = usb_descriptors.decode(device + configuration(VENDOR) + configuration(HID, "03 24 00"))
    assert [[one.interface_class for one in found.interfaces] for found in decoded.configurations] == [[0xFF], [3]]
    assert decoded.defects == ()


# --- bytes that are wrong (own constructions, common practice, no source) -------------


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param(b"", [(0, "no bytes at all")], id="empty file"),
        pytest.param(
            DEVICE[:17],
            [(0, "bLength is 18, but only 17 of these bytes are there")],
            id="17-byte file",
        ),
        pytest.param(DEVICE, [(17, "bNumConfigurations is 1, found 0")], id="no configuration"),
        pytest.param(
            DEVICE + configuration(VENDOR) + configuration(VENDOR),
            [(17, "bNumConfigurations is 1, found 2")],
            id="two configurations, one announced",
        ),
        pytest.param(
            DEVICE + configuration(VENDOR)[:-1],
            [
                (20, "wTotalLength is 18, found 9 bytes"),
                (22, "bNumInterfaces is 1, found 0"),
                (27, "bLength is 9, but only 8 of these bytes are there"),
            ],
            id="cut inside the interface",
        ),
        pytest.param(
            DEVICE + configuration(VENDOR) + b"\x00\x05\x81",
            [(36, "bLength is 0, below 2; what follows cannot be told apart")],
            id="bLength 0",
        ),
        pytest.param(
            DEVICE + configuration(VENDOR) + b"\x09",
            [(36, "bLength is 9, but only 1 of these bytes are there")],
            id="one byte left",
        ),
        pytest.param(
            DEVICE + configuration(VENDOR) + b"\xff\x05\x81",
            [(36, "bLength is 255, but only 3 of these bytes are there")],
            id="bLength past the end",
        ),
        pytest.param(
            DEVICE + bytes.fromhex("09 02 ff 00 01 01 00 80 32") + bytes.fromhex(VENDOR),
            [(20, "wTotalLength is 255, found 18 bytes")],
            id="wTotalLength too large",
        ),
        pytest.param(
            DEVICE + configuration(VENDOR, interfaces=3),
            [(22, "bNumInterfaces is 3, found 1")],
            id="fewer interfaces than claimed",
        ),
        pytest.param(
            DEVICE + configuration("09 04 00 00 02 ff 00 00 00", "07 05 81 03 08 00 0a"),
            [(31, "bNumEndpoints is 2, found 1")],
            id="fewer endpoints than claimed",
        ),
        pytest.param(
            DEVICE + configuration(VENDOR, VENDOR),
            [(36, "interface 0 has alternate setting 0 twice")],
            id="the same setting twice",
        ),
        pytest.param(
            DEVICE + configuration("09 04 00 00 01 ff 00 00 00", "07 05 80 03 08 00 0a"),
            [(38, "an endpoint descriptor for endpoint 0")],
            id="endpoint 0",
        ),
        pytest.param(
            DEVICE + configuration("04 04 00 00", "07 05 81 03 08 00 0a", interfaces=0),
            [
                (27, "interface descriptor of 4 bytes, the standard has 9; kept as it came"),
                (31, "endpoint descriptor outside any interface; kept as it came"),
            ],
            id="interface too short, its endpoint homeless",
        ),
        pytest.param(
            DEVICE + configuration(HID, "09 21 11 01 00 02 22 41 00"),
            [(41, "bNumDescriptors is 2, bLength 9 has room for 1")],
            id="HID descriptor promises more than it holds",
        ),
        pytest.param(
            DEVICE + configuration(HID, "09 21 11 01 00 01 22 41 00", "09 21 11 01 00 01 22 41 00"),
            [(45, "a second HID descriptor in one interface; kept as it came")],
            id="two HID descriptors",
        ),
        pytest.param(
            DEVICE + configuration("08 0b 00 02 0e 03 00 00", VENDOR),
            [(30, "bInterfaceCount is 2, found 1")],
            id="association of interfaces that are not there",
        ),
        pytest.param(
            DEVICE + configuration("08 0b 00 01 0e 03 00 00", "08 0b 00 01 ff 00 00 00", VENDOR),
            [(35, "interface 0 is in another association too")],
            id="associations that overlap",
        ),
        pytest.param(
            DEVICE + configuration(VENDOR) + DEVICE,
            [
                (20, "wTotalLength is 18, found 36 bytes"),
                (36, "device descriptor not at the start; kept as it came"),
            ],
            id="a device descriptor inside",
        ),
        pytest.param(
            bytes.fromhex("03 24 00") + configuration(VENDOR),
            [(0, "no device descriptor at the start")],
            id="starts with something else",
        ),
        pytest.param(
            DEVICE + bytes.fromhex(VENDOR + "07 05 81 03 08 00 0a" + "08 0b 00 01 0e 03 00 00"),
            [
                (17, "bNumConfigurations is 1, found 0"),
                (18, "interface descriptor outside any configuration; kept as it came"),
                (27, "endpoint descriptor outside any interface; kept as it came"),
                (34, "association descriptor outside any configuration; kept as it came"),
            ],
            id="no configuration around",
        ),
    ],
)
def test_what_is_wrong_is_named_with_its_offset(data: bytes, expected: list[tuple[int, str]]) -> None:
    decoded = usb_descriptors.decode(data)
    assert problems(decoded) == expected
    assert unaccounted(decoded, len(data)) == []


def test_a_second_interface_of_the_same_number_does_not_count_twice() -> None:
    second = "09 04 00 01 00 ff 00 00 00"
    assert usb_descriptors.decode(DEVICE + configuration(VENDOR, second)).defects == ()


def test_the_endpoint_of_an_unreadable_interface_is_not_given_to_the_one_before() -> None:
    # drivers/usb/core/config.c skips to the next interface descriptor.
    endpoint = "07 05 81 03 08 00 0a"
    decoded = usb_descriptors.decode(DEVICE + configuration("09 04 00 00 00 ff 00 00 00", "04 04 01 00", endpoint))
    assert only(decoded).interfaces[0].endpoints == ()
    assert [raw.descriptor_type for raw in only(decoded).others] == [0x04, 0x05]


def test_the_first_of_two_associations_has_the_interface() -> None:
    # drivers/usb/core/message.c, find_iad.
    decoded = usb_descriptors.decode(
        DEVICE + configuration("08 0b 00 01 0e 03 00 00", "08 0b 00 01 ff 00 00 00", VENDOR)
    )
    association = only(decoded).interfaces[0].association
    assert association is not None
    assert association.function_class == 0x0E


def test_a_hid_descriptor_is_read_as_far_as_it_claims() -> None:
    decoded = usb_descriptors.decode(DEVICE + configuration(HID, "0c 21 11 01 00 01 22 41 00 23 10 00"))
    hid = only(decoded).interfaces[0].hid
    assert hid is not None
    assert hid.subordinates == ((0x22, 65),)


def test_associations_are_kept_up_to_the_kernels_limit() -> None:
    # include/linux/usb.h: USB_MAXIADS is 16.
    one = "08 0b {:02x} 01 ff 00 00 00"
    block = configuration(*(one.format(number) for number in range(17)), interfaces=0)
    decoded = usb_descriptors.decode(DEVICE + block)
    assert len(only(decoded).associations) == 16
    assert (155, "more than 16 associations in one configuration; kept as it came") in problems(decoded)
    assert [raw.offset for raw in only(decoded).others] == [155]


def test_input_without_end_is_read_up_to_a_limit() -> None:
    data = DEVICE + b"\x02\xff" * 1_000_000
    decoded = usb_descriptors.decode(data)
    limit = usb_descriptors.LONGEST
    assert decoded.defects[-1] == Defect(
        offset=limit,
        problem=f"longer than the {limit} bytes that a device can have; the rest was not read",
        length=len(data) - limit,
    )
    assert len(decoded.others) == (limit - len(DEVICE)) // 2
