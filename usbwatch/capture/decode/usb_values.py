"""The values that USB descriptors hold (USB 2.0 chapter 9, HID 1.11 section 6.2.1).

Attribute names are the standard's field names in snake_case, without the type
prefix (``b``, ``w``, ``i``, ``id``, ``bm``); where that leaves a doubt, the
docstring gives the standard's name. Layouts were checked in the kernel's
``include/uapi/linux/usb/ch9.h``. ``usbwatch.capture.decode.usb_descriptors``
makes these values. They are named tuples, their numbers in the order of the
standard's tables, since those are made fastest and a unit has hundreds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Tuple

from usbwatch.capture.decode.defect import Defect

__all__ = [
    "Association",
    "Configuration",
    "Descriptors",
    "DeviceDescriptor",
    "Endpoint",
    "HidDescriptor",
    "Interface",
    "RawDescriptor",
]

_TRANSFER_TYPES = ("control", "isochronous", "bulk", "interrupt")
_SELF_POWERED = 0x40
_REMOTE_WAKEUP = 0x20
_REPORT_DESCRIPTOR = 0x22


class RawDescriptor(NamedTuple):
    """A descriptor that is kept as it came: class or vendor specific, out of place, or too short for its type."""

    offset: int
    length: int
    descriptor_type: int
    """bDescriptorType."""
    hex: str
    """All its bytes, bLength and bDescriptorType included, as lower-case hex."""


class DeviceDescriptor(NamedTuple):
    """The device descriptor (USB 2.0 section 9.6.1, table 9-8)."""

    offset: int
    length: int
    bcd_usb: int
    """bcdUSB: the release of the standard it follows, ``0x0200`` for 2.00."""
    device_class: int
    """bDeviceClass; 0: each interface says its own; 0xEF with 02/01: look at the associations."""
    device_subclass: int
    """bDeviceSubClass."""
    device_protocol: int
    """bDeviceProtocol."""
    max_packet_size_0: int
    """bMaxPacketSize0 as it came: bytes, but an exponent of 2 on a SuperSpeed device."""
    vendor: int
    """idVendor."""
    product: int
    """idProduct."""
    bcd_device: int
    """bcdDevice: the maker's own release number."""
    manufacturer_index: int
    """iManufacturer; 0: no such string, here and below."""
    product_index: int
    """iProduct."""
    serial_number_index: int
    """iSerialNumber."""
    num_configurations: int
    """bNumConfigurations."""

    @property
    def identity(self) -> str:
        """``1209:0001``: vendor and product as lower-case hex."""
        return f"{self.vendor:04x}:{self.product:04x}"

    @property
    def class_triple(self) -> Tuple[int, int, int]:
        """Class, subclass and protocol."""
        return self.device_class, self.device_subclass, self.device_protocol


class Association(NamedTuple):
    """An interface association: interfaces that make one function (``usb_interface_assoc_descriptor`` in ch9.h)."""

    offset: int
    length: int
    first_interface: int
    """bFirstInterface."""
    interface_count: int
    """bInterfaceCount."""
    function_class: int
    """bFunctionClass."""
    function_subclass: int
    """bFunctionSubClass."""
    function_protocol: int
    """bFunctionProtocol."""
    function_index: int
    """iFunction."""

    @property
    def class_triple(self) -> Tuple[int, int, int]:
        """Class, subclass and protocol of the function."""
        return self.function_class, self.function_subclass, self.function_protocol

    def covers(self, interface_number: int) -> bool:
        """Whether that interface is one of its own."""
        return self.first_interface <= interface_number < self.first_interface + self.interface_count


class HidDescriptor(NamedTuple):
    """The HID descriptor of an interface (HID 1.11 section 6.2.1)."""

    offset: int
    length: int
    bcd_hid: int
    """bcdHID."""
    country_code: int
    """bCountryCode: the layout of the keyboard, 0 for none."""
    num_descriptors: int
    """bNumDescriptors, as claimed."""
    subordinates: Tuple[Tuple[int, int], ...]
    """Type and length in bytes of each class descriptor it announces, as far as its own length holds them."""

    @property
    def report_descriptor_length(self) -> int:
        """Bytes of the first report descriptor (type 0x22) it announces, 0 for none."""
        return next((length for kind, length in self.subordinates if kind == _REPORT_DESCRIPTOR), 0)


class Endpoint(NamedTuple):
    """An endpoint (USB 2.0 section 9.6.6, table 9-13)."""

    offset: int
    length: int
    address: int
    """bEndpointAddress."""
    attributes: int
    """bmAttributes."""
    max_packet_size: int
    """wMaxPacketSize as it came; see ``packet_bytes``."""
    interval: int
    """bInterval, in the units of the speed and transfer type."""
    others: Tuple[RawDescriptor, ...] = ()
    """What follows it: class-specific endpoint descriptors, SuperSpeed companion."""

    @property
    def number(self) -> int:
        """Endpoint number, 0 to 15."""
        return self.address & 0x0F

    @property
    def direction(self) -> str:
        """``in``, ``out``, or ``both`` for a control endpoint, whose direction bit means nothing (table 9-13)."""
        if self.transfer_type == "control":
            return "both"
        return "in" if self.address & 0x80 else "out"

    @property
    def transfer_type(self) -> str:
        """``control``, ``isochronous``, ``bulk`` or ``interrupt``."""
        return _TRANSFER_TYPES[self.attributes & 0x03]

    @property
    def packet_bytes(self) -> int:
        """Bytes of the largest packet: bits 10 to 0 of wMaxPacketSize."""
        return self.max_packet_size & 0x07FF

    @property
    def additional_transactions(self) -> int:
        """Further packets per microframe at high speed, 0 to 2; 3 is reserved. Bits 12 and 11 of wMaxPacketSize."""
        return self.max_packet_size >> 11 & 0x03


class Interface(NamedTuple):
    """One alternate setting of an interface (USB 2.0 section 9.6.5, table 9-12)."""

    offset: int
    length: int
    number: int
    """bInterfaceNumber."""
    alternate_setting: int
    """bAlternateSetting."""
    num_endpoints: int
    """bNumEndpoints, as claimed; endpoint 0 is not counted."""
    interface_class: int
    """bInterfaceClass."""
    interface_subclass: int
    """bInterfaceSubClass."""
    interface_protocol: int
    """bInterfaceProtocol."""
    interface_index: int
    """iInterface."""
    association: Association | None = None
    """The first association that covers it; it stands in ``Configuration.associations`` too."""
    hid: HidDescriptor | None = None
    endpoints: Tuple[Endpoint, ...] = ()
    others: Tuple[RawDescriptor, ...] = ()
    """Other descriptors between this one and its first endpoint."""

    @property
    def class_triple(self) -> Tuple[int, int, int]:
        """Class, subclass and protocol."""
        return self.interface_class, self.interface_subclass, self.interface_protocol


class Configuration(NamedTuple):
    """A configuration and what follows it, up to the next one (USB 2.0 section 9.6.3, table 9-10)."""

    offset: int
    length: int
    """Of the configuration descriptor itself."""
    total_length: int
    """wTotalLength, as claimed."""
    num_interfaces: int
    """bNumInterfaces, as claimed."""
    value: int
    """bConfigurationValue."""
    configuration_index: int
    """iConfiguration."""
    attributes: int
    """bmAttributes."""
    max_power: int
    """bMaxPower as it came; see ``max_power_ma``."""
    associations: Tuple[Association, ...] = ()
    interfaces: Tuple[Interface, ...] = ()
    """Every alternate setting, in the order of the bytes."""
    others: Tuple[RawDescriptor, ...] = ()
    """Descriptors that belong to no interface."""

    @property
    def self_powered(self) -> bool:
        """Whether it has a supply of its own (bit 6 of bmAttributes)."""
        return bool(self.attributes & _SELF_POWERED)

    @property
    def remote_wakeup(self) -> bool:
        """Whether it can wake the host (bit 5 of bmAttributes)."""
        return bool(self.attributes & _REMOTE_WAKEUP)

    def max_power_ma(self, *, superspeed: bool) -> int:
        """The most it draws from the bus, in mA.

        The unit of bMaxPower is 2 mA, and 8 mA at SuperSpeed and above
        (``usb_get_max_power`` in the kernel's drivers/usb/core/usb.h).
        """
        return self.max_power * (8 if superspeed else 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Descriptors:
    """All descriptors of one device, and what is wrong with them."""

    device: DeviceDescriptor | None = None
    configurations: Tuple[Configuration, ...] = ()
    others: Tuple[RawDescriptor, ...] = ()
    """Descriptors that belong to no configuration."""
    defects: Tuple[Defect, ...] = ()
    """By offset."""
