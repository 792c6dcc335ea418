"""USB descriptors and EDID blocks of invented parts, as bytes.

USB 2.0 chapter 9 (layouts checked in include/uapi/linux/usb/ch9.h), HID 1.11
section 6.2.1, EDID as in include/drm/drm_edid.h.
"""

from __future__ import annotations

import struct

from support.tree.inputs import HID_KINDS
from support.tree.parts import Endpoint, UsbInterface, UsbPart

__all__ = ["CAMERA_CONTROL", "CAMERA_STREAM", "SMART_CARD", "descriptors", "edid", "root_hub_descriptors", "strings_of"]

_SUPER_SPEED = 5000
_COMPANION = bytes.fromhex("06300f000000")
"""SuperSpeed endpoint companion: bursts of 16."""

CAMERA_CONTROL = bytes.fromhex("0d240110012800006cdc020101122402010102000000000000000003000000092403020101000100")
"""Class-specific video control: header, input terminal, output terminal (the emulated unit's invented camera)."""
CAMERA_STREAM = bytes.fromhex(
    "0e240101370081000200000001000b240601010101000000001e240701000005d0020080700000002f0d00201c00151605000115160500"
)
"""Class-specific video streaming: input header, format, one 1280 x 720 frame."""
SMART_CARD = bytes.fromhex(
    "36211001000103000000a00f0000a00f000000802500002a0100000000000000000000000000000000000000000f010000ffff0000000101"
)[:54]
"""A CCID class descriptor of 54 bytes."""


def strings_of(part: UsbPart) -> tuple[tuple[str, int], ...]:
    """The device's string fields with their indexes, 0 where there is none."""
    index, given = 0, []
    for name, text in (("Mfr", part.manufacturer), ("Product", part.product_name), ("SerialNumber", part.serial)):
        index += bool(text)
        given.append((name, index if text else 0))
    return tuple(given)


def _endpoint(endpoint: Endpoint, *, super_speed: bool) -> bytes:
    end = endpoint
    packed = struct.pack("<BBBBHB", 7, 5, end.address, end.attributes, end.packet, end.interval)
    return packed + (_COMPANION if super_speed else b"")


def _interface(number: int, setting: int, interface: UsbInterface, name_index: int, *, super_speed: bool) -> bytes:
    head = bytes((9, 4, number, setting, len(interface.endpoints), *interface.triple, name_index))
    hid = b""
    if interface.hid:
        hid = struct.pack("<BBHBBBH", 9, 0x21, 0x0111, 0, 1, 0x22, len(HID_KINDS[interface.hid].report))
    ends = (_endpoint(endpoint, super_speed=super_speed) for endpoint in interface.endpoints)
    return head + hid + interface.class_specific + b"".join(ends)


def _interfaces(part: UsbPart) -> bytes:
    body, number, setting = b"", -1, 0
    name_index = 3
    for interface in part.interfaces:
        number, setting = (number, setting + 1) if interface.alternate else (number + 1, 0)
        name_index += bool(interface.name)
        named = name_index if interface.name else 0
        body += _interface(number, setting, interface, named, super_speed=part.speed >= _SUPER_SPEED)
    return body


def descriptors(part: UsbPart) -> bytes:
    """The ``descriptors`` file: device descriptor and the one configuration."""
    packet = 9 if part.speed >= _SUPER_SPEED else 64 if part.speed > 1.5 else 8
    indexes = [index for _, index in strings_of(part)]
    identity = (part.vendor, part.product, part.release)
    device = struct.pack("<BBHBBBBHHHBBBB", 18, 1, part.version, *part.triple, packet, *identity, *indexes, 1)
    count = sum(not interface.alternate for interface in part.interfaces)
    body = bytes((8, 0x0B, 0, count, *part.association, 0)) if part.association else b""
    body += _interfaces(part)
    attributes = 0xC0 if part.self_powered else 0x80
    unit = 8 if part.speed >= _SUPER_SPEED else 2
    head = struct.pack("<BBHBBBBB", 9, 2, 9 + len(body), count, 1, 0, attributes, part.max_power_ma // unit)
    return device + head + body


def root_hub_descriptors(*, super_speed: bool, release: int) -> bytes:
    """The kernel's own root hub, byte for byte (drivers/usb/core/hcd.c), but for the kernel's version in it."""
    version, product, packet = (0x0300, 3, 9) if super_speed else (0x0200, 2, 64)
    protocol = 3 if super_speed else 1
    device = struct.pack(
        "<BBHBBBBHHHBBBB", 18, 1, version, 9, 0, protocol, packet, 0x1D6B, product, release, 3, 2, 1, 1
    )
    companion = bytes.fromhex("063000000200") if super_speed else b""
    size = 2 if super_speed else 4
    body = bytes((9, 4, 0, 0, 1, 9, 0, 0, 0)) + struct.pack("<BBBBHB", 7, 5, 0x81, 3, size, 12) + companion
    return device + struct.pack("<BBHBBBBB", 9, 2, 9 + len(body), 1, 1, 0, 0xE0, 0) + body


def _timing(width: int, height: int, clock_khz: int, blank: tuple[int, int]) -> bytes:
    """A detailed timing of a picture without borders, image size 29 x 17 cm."""
    across, down = blank
    return struct.pack(
        "<HBBBBBBBBBBBBBBBB",
        clock_khz // 10,
        width & 0xFF,
        across & 0xFF,
        width >> 8 << 4 | across >> 8,
        height & 0xFF,
        down & 0xFF,
        height >> 8 << 4 | down >> 8,
        48,
        32,
        0x35,
        0,
        0x22,
        0xA5,
        0x10,
        0,
        0,
        0x18,
    )


def edid(maker: str, product: int, name: str, *, width: int = 1920, height: int = 1080) -> bytes:
    """An EDID base block of 128 bytes with a right checksum."""
    letters = [ord(letter) - ord("@") for letter in maker]
    word = letters[0] << 10 | letters[1] << 5 | letters[2]
    head = bytes.fromhex("00ffffffffffff00") + struct.pack(">H", word) + struct.pack("<HI", product, 0)
    head += bytes((12, 2025 - 1990, 1, 4, 0x95, 29, 17, 0x78, 0x02))
    head += bytes.fromhex("0d c9 a0 57 47 98 27 12 48 4c") + bytes.fromhex("00 00 00") + bytes.fromhex("0101" * 8)
    text = b"\0\0\0\xfc\0" + name.encode()[:13].ljust(13, b"\n" if len(name) < 13 else b"")
    spare = b"\0\0\0\x10" + bytes(14)
    block = head + _timing(width, height, 141000, (160, 40)) + text + spare + spare + b"\0"
    return block + bytes((-sum(block) % 256,))
