"""A libusb that is played: pyusb's ``IBackend`` over invented devices, with the quirks of other systems.

It answers what libusb answers from its cache. Whatever would open a device,
send it something or change it fails the test at once.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import usb.backend
from usb.core import USBError

from usbwatch.capture.decode import usb_descriptors

__all__ = ["FULL", "HIGH", "LOW", "SUPER", "FakeLibusb", "Part", "TouchedError", "part", "root_hub"]

LOW, FULL, HIGH, SUPER = 1, 2, 3, 4
"""``enum libusb_speed`` (libusb.h)."""

_NOT_FOUND = -5
"""LIBUSB_ERROR_NOT_FOUND (libusb.h)."""


class TouchedError(AssertionError):
    """Something asked for more than libusb's cache."""


@dataclass(frozen=True, kw_only=True)
class Part:
    """One entry of libusb's list."""

    device: bytes
    """The device descriptor."""
    configurations: tuple[bytes, ...]
    bus: int
    address: int
    port: int
    speed: int
    parent: Part | None = None
    active: int = 1
    """bConfigurationValue; 0 for none."""
    broken: bool = False
    """libusb fails to give even the device descriptor."""

    @property
    def devid(self) -> int:
        """What stands for libusb's pointer to it."""
        return self.bus << 8 | self.address


def _device(identity: str, device_class: int, release: int, configurations: int) -> bytes:
    vendor, product = (int(half, 16) for half in identity.split(":"))
    return struct.pack(
        "<BBHBBBBHHHBBBB", 18, 1, release, device_class, 0, 0, 64, vendor, product, 0x100, 1, 2, 3, configurations
    )


def _configuration(triple: tuple[int, int, int], value: int) -> bytes:
    """One interface; a HID one with its HID descriptor, so that there are extra bytes."""
    hid = bytes.fromhex("092111010001223f00") if triple[0] == 3 else b""
    body = bytes([9, 4, 0, 0, 1, *triple, 0]) + hid + bytes.fromhex("0705810308000a")
    return struct.pack("<BBHBBBBB", 9, 2, 9 + len(body), 1, value, 0, 0xA0, 50) + body


def part(
    identity: str,
    *,
    port: int,
    bus: int,
    address: int,
    parent: Part | None = None,
    triple: tuple[int, int, int] = (3, 1, 1),
    speed: int = FULL,
    release: int = 0x0200,
) -> Part:
    """A device with one interface of a class; a keyboard when nothing is said."""
    return Part(
        device=_device(identity, 9 if triple[0] == 9 else 0, release, 1),
        configurations=(_configuration(triple, 1),),
        bus=bus,
        address=address,
        port=port,
        speed=speed,
        parent=parent,
    )


def root_hub(*, bus: int, identity: str = "1209:0010", release: int = 0x0200, speed: int = HIGH) -> Part:
    """A root hub, as a system makes one up: no port, no parent."""
    made = part(identity, port=0, bus=bus, address=1, triple=(9, 0, 0), speed=speed, release=release)
    return replace(made, address=0)


def _touched(name: str) -> Any:  # noqa: ANN401 - stands for any method
    def touch(*_arguments: object, **_named: object) -> None:
        raise TouchedError(name)

    return touch


_CACHED = {
    "enumerate_devices",
    "get_parent",
    "get_device_descriptor",
    "get_configuration_descriptor",
    "get_interface_descriptor",
    "get_endpoint_descriptor",
}


class FakeLibusb(usb.backend.IBackend):  # type: ignore[misc]  # pyusb has no types
    """A list of parts. Every method of ``IBackend`` that is not answered from the cache raises ``TouchedError``."""

    def __init__(self, parts: Sequence[Part], *, tells_active: bool = True, fails: Exception | None = None) -> None:
        super().__init__()
        self.parts = tuple(parts)
        self.fails = fails
        self.asked: list[str] = []
        for name in vars(usb.backend.IBackend):
            if not name.startswith("_") and name not in _CACHED and callable(getattr(self, name)):
                setattr(self, name, _touched(name))
        if tells_active:
            self.lib = _FakeLibrary(self.parts)

    def enumerate_devices(self) -> Iterator[Part]:
        self.asked.append("enumerate_devices")
        if self.fails is not None:
            raise self.fails
        yield from self.parts

    def get_parent(self, dev: Part) -> Part | None:
        return dev.parent

    def get_device_descriptor(self, dev: Part) -> SimpleNamespace:
        if dev.broken:
            message = "Input/Output Error"
            raise USBError(message, -1, 5)
        names = (
            "bLength bDescriptorType bcdUSB bDeviceClass bDeviceSubClass bDeviceProtocol bMaxPacketSize0 "
            "idVendor idProduct bcdDevice iManufacturer iProduct iSerialNumber bNumConfigurations"
        )
        fields = dict(zip(names.split(), struct.unpack("<BBHBBBBHHHBBBB", dev.device), strict=True))
        return SimpleNamespace(
            **fields,
            bus=dev.bus,
            address=dev.address,
            port_number=dev.port,
            port_numbers=_chain_of_libusb(dev),
            speed=dev.speed,
        )

    def get_configuration_descriptor(self, dev: Part, config: int) -> SimpleNamespace:
        if config >= len(dev.configurations):
            message = "Entity not found"
            raise USBError(message, _NOT_FOUND, 2)
        data = dev.configurations[config]
        names = "bLength bDescriptorType wTotalLength bNumInterfaces bConfigurationValue iConfiguration bmAttributes"
        values = struct.unpack("<BBHBBBBB", data[:9])
        return SimpleNamespace(**dict(zip([*names.split(), "bMaxPower"], values, strict=True)), extra_descriptors=[])

    def get_interface_descriptor(self, dev: Part, intf: int, alt: int, config: int) -> SimpleNamespace:
        self.get_configuration_descriptor(dev, config)
        data = dev.configurations[config]
        decoded = usb_descriptors.decode(dev.device + data).configurations[0]
        numbers = sorted({one.number for one in decoded.interfaces})
        settings = [one for one in decoded.interfaces if one.number == numbers[intf]]
        if alt >= len(settings):
            raise IndexError(alt)
        at = settings[alt].offset - len(dev.device)
        names = (
            "bLength bDescriptorType bInterfaceNumber bAlternateSetting bNumEndpoints "
            "bInterfaceClass bInterfaceSubClass bInterfaceProtocol iInterface"
        )
        extra = list(data[at + 9 : settings[alt].endpoints[0].offset - len(dev.device)])
        fields = dict(zip(names.split(), data[at : at + 9], strict=True))
        return SimpleNamespace(**fields, extra_descriptors=extra)

    def get_endpoint_descriptor(self, dev: Part, ep: int, intf: int, alt: int, config: int) -> SimpleNamespace:
        assert (ep, intf, alt) == (0, 0, 0), "the invented parts have one endpoint"
        values = struct.unpack("<BBBBHB", dev.configurations[config][-7:])
        names = "bLength bDescriptorType bEndpointAddress bmAttributes wMaxPacketSize bInterval"
        fields = dict(zip(names.split(), values, strict=True))
        return SimpleNamespace(**fields, bRefresh=0, bSynchAddress=0, extra_descriptors=[])


def _chain_of_libusb(dev: Part) -> tuple[int, ...] | None:
    """``libusb_get_port_numbers`` (libusb/core.c): up to the first port 0, so a port that is not told cuts it."""
    chain: list[int] = []
    each: Part | None = dev
    while each is not None and each.port:
        chain.insert(0, each.port)
        each = each.parent
    return tuple(chain) or None


class _FakeLibrary:
    """The two functions of the C library that pyusb's backend does not wrap; any other is a touch."""

    def __init__(self, parts: Sequence[Part]) -> None:
        import ctypes

        class Head(ctypes.Structure):
            _fields_ = [
                ("bLength", ctypes.c_uint8),
                ("bDescriptorType", ctypes.c_uint8),
                ("wTotalLength", ctypes.c_uint16),
                ("bNumInterfaces", ctypes.c_uint8),
                ("bConfigurationValue", ctypes.c_uint8),
            ]

        by_id = {one.devid: one for one in parts}
        pointer = ctypes.POINTER(Head)
        held: list[Head] = []

        def active(devid: ctypes.c_void_p, found: Any) -> int:  # noqa: ANN401 - what byref gives
            value = by_id[int(devid.value or 0)].active
            if value == 0:
                return _NOT_FOUND
            held.append(Head(9, 2, 9, 1, value))
            found._obj.contents = held[-1]
            return 0

        class Free:
            argtypes = (pointer,)

            def __call__(self, found: Any) -> None:  # noqa: ANN401 - a pointer of ctypes
                held.remove(next(one for one in held if ctypes.addressof(one) == ctypes.addressof(found.contents)))

        self.libusb_get_active_config_descriptor = active
        self.libusb_free_config_descriptor = Free()
        self.held = held

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - stands for any function
        if name.startswith("libusb_"):
            raise TouchedError(name)
        raise AttributeError(name)
