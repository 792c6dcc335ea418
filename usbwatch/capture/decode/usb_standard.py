"""The standard descriptors field by field, by the standard's own names.

``usb_descriptors`` decodes what comparison needs; these layouts are for
showing every byte. Source: USB 2.0 section 9.6 and HID 1.11 section 6.2.1,
read in the kernel's ``include/uapi/linux/usb/ch9.h``; audio endpoints have two
more fields (USB Audio 1.0 section 4.6.1.1; ``USB_DT_ENDPOINT_AUDIO_SIZE``).
"""

from __future__ import annotations

from typing import Dict

from usbwatch.capture.decode.layout import HEAD, Layout, number

__all__ = ["DESCRIPTOR_TYPES", "STANDARD", "hid_layout"]

DESCRIPTOR_TYPES: Dict[int, str] = {
    0x01: "device",
    0x02: "configuration",
    0x03: "string",
    0x04: "interface",
    0x05: "endpoint",
    0x06: "device qualifier",
    0x07: "other speed configuration",
    0x08: "interface power",
    0x09: "on-the-go",
    0x0A: "debug",
    0x0B: "interface association",
    0x0F: "binary device object store",
    0x10: "device capability",
    0x21: "HID, or of the class",
    0x22: "HID report",
    0x23: "HID physical",
    0x24: "class-specific, of an interface",
    0x25: "class-specific, of an endpoint",
    0x29: "hub",
    0x2A: "SuperSpeed hub",
    0x30: "SuperSpeed endpoint companion",
    0x31: "SuperSpeedPlus isochronous endpoint companion",
}
"""By bDescriptorType: ch9.h and ch11.h; 0x21 to 0x23 HID 1.11 section 7.1."""

_TRIPLE = (number("bDeviceClass"), number("bDeviceSubClass"), number("bDeviceProtocol"), number("bMaxPacketSize0"))
_CONFIGURATION = (
    number("wTotalLength", 2),
    number("bNumInterfaces"),
    number("bConfigurationValue"),
    number("iConfiguration"),
    number("bmAttributes"),
    number("bMaxPower"),
)

STANDARD: Dict[int, Layout] = {
    0x01: Layout(
        "device",
        (
            number("bcdUSB", 2),
            *_TRIPLE,
            number("idVendor", 2),
            number("idProduct", 2),
            number("bcdDevice", 2),
            number("iManufacturer"),
            number("iProduct"),
            number("iSerialNumber"),
            number("bNumConfigurations"),
        ),
    ),
    0x02: Layout("configuration", _CONFIGURATION),
    0x04: Layout(
        "interface",
        (
            number("bInterfaceNumber"),
            number("bAlternateSetting"),
            number("bNumEndpoints"),
            number("bInterfaceClass"),
            number("bInterfaceSubClass"),
            number("bInterfaceProtocol"),
            number("iInterface"),
        ),
    ),
    0x05: Layout(
        "endpoint",
        (
            number("bEndpointAddress"),
            number("bmAttributes"),
            number("wMaxPacketSize", 2),
            number("bInterval"),
            number("bRefresh", optional=True),
            number("bSynchAddress", optional=True),
        ),
    ),
    0x06: Layout(
        "device qualifier", (number("bcdUSB", 2), *_TRIPLE, number("bNumConfigurations"), number("bRESERVED"))
    ),
    0x07: Layout("other speed configuration", _CONFIGURATION),
    0x09: Layout("on-the-go", (number("bmAttributes"), number("bcdOTG", 2, optional=True))),
    0x0A: Layout("debug", (number("bDebugInEndpoint"), number("bDebugOutEndpoint"))),
    0x0B: Layout(
        "interface association",
        (
            number("bFirstInterface"),
            number("bInterfaceCount"),
            number("bFunctionClass"),
            number("bFunctionSubClass"),
            number("bFunctionProtocol"),
            number("iFunction"),
        ),
    ),
}
"""By bDescriptorType. A HID descriptor is found by ``hid_layout``: it is as long as it says."""

_HID = (number("bcdHID", 2), number("bCountryCode"), number("bNumDescriptors"))
_ANNOUNCED = (number("bDescriptorType"), number("wDescriptorLength", 2))
_ANNOUNCED_SIZE = 3


def hid_layout(data: bytes) -> Layout:
    """The layout of a HID descriptor with as many announced descriptors as it names and has room for."""
    size = len(HEAD) + sum(part.size for part in _HID)
    named = data[size - 1] if len(data) >= size else 0
    count = min(named, max(len(data) - size, 0) // _ANNOUNCED_SIZE)
    return Layout("HID", (*_HID, *_ANNOUNCED * count))
