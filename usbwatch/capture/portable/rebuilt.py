"""The bytes of descriptors, put together again from the fields into which libusb takes them apart.

libusb gives no raw bytes without opening the device. It keeps what it does not
know as ``extra`` bytes behind the descriptor that they follow (libusb.h), so
that the parts add up to the original: exactly, where alternate settings stand
behind one another as USB 2.0 section 9.4.3 has them, and no descriptor is
longer than its standard form.
"""

from __future__ import annotations

import struct
from typing import Any, Iterator

__all__ = ["ListedDescriptors", "configuration_bytes", "device_bytes"]

_DEVICE = struct.Struct("<BBHBBBBHHHBBBB")
_CONFIGURATION = struct.Struct("<BBHBBBBB")
_INTERFACE = struct.Struct("<BBBBBBBBB")
_ENDPOINT = struct.Struct("<BBBBHB")
_AUDIO_ENDPOINT_LENGTH = 9
"""Endpoints of USB Audio 1.0 have bRefresh and bSynchAddress more (section 4.6.1.1)."""

_DEVICE_FIELDS = [
    "bLength",
    "bDescriptorType",
    "bcdUSB",
    "bDeviceClass",
    "bDeviceSubClass",
    "bDeviceProtocol",
    "bMaxPacketSize0",
    "idVendor",
    "idProduct",
    "bcdDevice",
    "iManufacturer",
    "iProduct",
    "iSerialNumber",
    "bNumConfigurations",
]
_CONFIGURATION_FIELDS = [
    "bLength",
    "bDescriptorType",
    "wTotalLength",
    "bNumInterfaces",
    "bConfigurationValue",
    "iConfiguration",
    "bmAttributes",
    "bMaxPower",
]
_INTERFACE_FIELDS = [
    "bLength",
    "bDescriptorType",
    "bInterfaceNumber",
    "bAlternateSetting",
    "bNumEndpoints",
    "bInterfaceClass",
    "bInterfaceSubClass",
    "bInterfaceProtocol",
    "iInterface",
]
_ENDPOINT_FIELDS = ["bLength", "bDescriptorType", "bEndpointAddress", "bmAttributes", "wMaxPacketSize", "bInterval"]

_MOST_SETTINGS = 256
"""Alternate settings of one interface at most: their number is one byte."""


class ListedDescriptors:
    """The descriptors that libusb holds of one listed device: the reading half of pyusb's ``IBackend``, no more.

    ``backend`` is an ``IBackend``, ``handle`` one of what its
    ``enumerate_devices`` gives. Each attribute asks libusb's cache alone.
    """

    def __init__(self, backend: Any, handle: Any) -> None:  # noqa: ANN401 - pyusb has no types
        self._backend = backend
        self._handle = handle

    def device(self) -> Any:  # noqa: ANN401 - fields by the standard's names, and where it sits
        """The device descriptor, with ``bus``, ``address``, ``port_number``, ``port_numbers`` and ``speed``."""
        return self._backend.get_device_descriptor(self._handle)

    def configuration(self, index: int) -> Any:  # noqa: ANN401 - fields by the standard's names
        """A configuration descriptor by its index from 0."""
        return self._backend.get_configuration_descriptor(self._handle, index)

    def settings(self, index: int, interface: int) -> Iterator[Any]:
        """The alternate settings of an interface, by its index from 0."""
        for setting in range(_MOST_SETTINGS):
            try:
                yield self._backend.get_interface_descriptor(self._handle, interface, setting, index)
            except IndexError:
                return

    def endpoint(self, index: int, interface: int, setting: int, endpoint: int) -> Any:  # noqa: ANN401 - as above
        """An endpoint descriptor by its index from 0."""
        return self._backend.get_endpoint_descriptor(self._handle, endpoint, interface, setting, index)


def device_bytes(device: Any) -> bytes:  # noqa: ANN401 - fields by the standard's names
    """The 18 bytes of a device descriptor (USB 2.0 table 9-8)."""
    return _packed(_DEVICE, device, _DEVICE_FIELDS)


def configuration_bytes(listed: ListedDescriptors, index: int) -> bytes:
    """A configuration with its interfaces, endpoints and what stands between them.

    Raises what the backend raises when libusb does not hold it.
    """
    configuration = listed.configuration(index)
    parts = [_packed(_CONFIGURATION, configuration, _CONFIGURATION_FIELDS), _extra(configuration)]
    for interface in range(configuration.bNumInterfaces):
        for number, setting in enumerate(listed.settings(index, interface)):
            parts += [_packed(_INTERFACE, setting, _INTERFACE_FIELDS), _extra(setting)]
            parts += [
                _endpoint(listed.endpoint(index, interface, number, which)) for which in range(setting.bNumEndpoints)
            ]
    return b"".join(parts)


def _endpoint(endpoint: Any) -> bytes:  # noqa: ANN401 - fields by the standard's names
    more = (endpoint.bRefresh, endpoint.bSynchAddress) if endpoint.bLength >= _AUDIO_ENDPOINT_LENGTH else ()
    return _packed(_ENDPOINT, endpoint, _ENDPOINT_FIELDS) + bytes(more) + _extra(endpoint)


def _packed(layout: struct.Struct, descriptor: Any, fields: "list[str]") -> bytes:  # noqa: ANN401 - as above
    return layout.pack(*(getattr(descriptor, field) for field in fields))


def _extra(descriptor: Any) -> bytes:  # noqa: ANN401 - as above
    return bytes(descriptor.extra_descriptors or ())
