"""What a line of the kernel's log is about: the part before the message, and the place that it names.

``dev_err`` and its kin print "<driver or bus> <device name>: " (drivers/base/core.c);
a USB port is "usb usb1-port5" at a root hub and "usb 1-4-port2" at any other.
"""

from __future__ import annotations

import re
from enum import Enum
from functools import lru_cache
from typing import Mapping, NamedTuple, Optional, Pattern, Tuple

from usbwatch.capture.log.alternatives import Alternatives

__all__ = ["Place", "Subject", "names_something", "subject_of"]


class Place(Enum):
    """What sort of thing a line is about."""

    USB_DEVICE = "USB device"
    USB_PORT = "USB port"
    HUB = "USB hub"
    INTERFACE = "USB interface"
    HID = "HID device"
    I2C = "I2C client"
    I2C_CONTROLLER = "I2C controller"
    PCI = "PCI function"
    ACPI = "firmware object"
    BATTERY = "battery slot"
    NVME = "NVMe controller"
    ATA = "SATA port"
    MMC = "memory card host"
    HCI = "Bluetooth controller"
    SERIO = "PS/2 port"
    TYPEC = "Type-C port"
    NONE = "nothing named"


class Subject(NamedTuple):
    """What a line is about, and what it says of that; a named tuple as ``Record`` is."""

    place: Place
    name: str
    """The kernel's own name for it: ``1-4.2``, ``0000:00:14.0``, ``nvme0``; "" for ``Place.NONE``."""
    message: str
    bus: str = ""
    """USB bus number."""
    chain: str = ""
    """USB ports from the root hub on, "" for the root hub itself."""

    def location(self, root_hubs: Mapping[str, str]) -> str:
        """The location in a capture's words, "" where the name alone does not tell it."""
        if self.bus:
            root = root_hubs.get(self.bus, "")
            return f"{root}/{self.chain}" if root and self.chain else root
        pci = _PCI_BUS_0.match(self.name) if self.place is Place.PCI else None
        if pci:
            return f"pci{pci.group(1)}:00/{pci.group(2)}"
        if self.place is Place.ACPI:
            return "acpi/" + self.name.lstrip("\\")
        return ""


_PCI_BUS_0 = re.compile(r"([0-9a-f]{4,8}):00:([0-9a-f]{2}\.[0-7])\Z")
_CHAIN = r"\d{1,3}(?:\.\d{1,3}){0,6}"
_USB_NAME = rf"(?P<bus>\d{{1,3}})-(?P<chain>{_CHAIN})"

_Shapes = Tuple[Tuple[Place, str], ...]

_BY_WORD: _Shapes = (
    (Place.USB_DEVICE, rf"usb (?P<name>{_USB_NAME}): "),
    (Place.USB_PORT, r"usb (?P<name>usb(?P<bus>\d{1,3})-port(?P<chain>\d{1,3})): "),
    (Place.USB_PORT, rf"usb (?P<name>{_USB_NAME}-port(?P<port>\d{{1,3}})): "),
    (Place.USB_DEVICE, r"usb (?P<name>usb(?P<bus>\d{1,3})): "),
    (Place.HUB, r"hub (?P<name>(?P<bus>\d{1,3})-0:1\.0): "),
    (Place.HUB, rf"hub (?P<name>{_USB_NAME}:\d{{1,3}}\.\d{{1,3}}): "),
    (Place.I2C, r"(?:i2c_hid\w{0,20}|elan_i2c|raydium_ts|elants_i2c) (?P<name>i2c-[\w:]{1,40}): "),
    (Place.ACPI, r"ACPI: (?P<name>\\[\w.]{1,120}): "),
    (Place.BATTERY, r"ACPI: battery: Slot \[(?P<name>\w{1,8})\] "),
    (Place.NVME, r"nvme (?P<name>nvme\d{1,3}): "),
    (Place.ATA, r"(?P<name>ata\d{1,3})(?:\.\d{2})?: "),
    (Place.MMC, r"(?P<name>mmc\d{1,3}): "),
    (Place.HCI, r"Bluetooth: (?P<name>hci\d{1,3}): "),
    (Place.SERIO, r"(?:atkbd|psmouse) (?P<name>serio\d{1,3}): "),
    (Place.TYPEC, r"(?:ucsi\w{0,20}|typec) (?P<name>[\w:]{1,40}): "),
)
"""How a line begins whose first word says what it is about; what follows is the message."""

_BY_DRIVER: _Shapes = (
    (Place.INTERFACE, rf" (?P<name>{_USB_NAME}:\d{{1,3}}\.\d{{1,3}}): "),
    (Place.INTERFACE, rf": probe of (?P<name>{_USB_NAME}:\d{{1,3}}\.\d{{1,3}}) "),
    (Place.PCI, r" (?P<name>[0-9a-f]{4,8}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]): "),
    (Place.HID, r" (?P<name>[0-9A-F]{4}:[0-9A-F]{4}:[0-9A-F]{4}\.[0-9A-F]{4,8}): "),
    (Place.HID, r": probe of (?P<name>[0-9A-F]{4}:[0-9A-F]{4}:[0-9A-F]{4}\.[0-9A-F]{4,8}) "),
    (Place.I2C_CONTROLLER, r" (?P<name>i2c_designware\.\d{1,3}|i2c-\d{1,3}): "),
)
"""How a line goes on that begins with the name of some driver."""

_MESSAGE = r"(?P<message>.+)\Z"
_ANY_WORD = Alternatives([shape + _MESSAGE for _, shape in _BY_WORD])
_ANY_DRIVER = Alternatives([shape + _MESSAGE for _, shape in _BY_DRIVER], beginning=r"[\w-]{1,40}(?=[ :])")
_FAILED_PROBE = "failed with error "


def names_something(text: str) -> bool:
    """Whether a line names a place or is an error of ACPI: most lines of a log do not, and one look tells it."""
    return _names().match(text) is not None


@lru_cache(maxsize=1)
def _names() -> Pattern[str]:
    return re.compile(f"{_ANY_WORD.pattern}|ACPI Error|{_ANY_DRIVER.pattern}")


def subject_of(text: str) -> Subject:
    """What a line is about; ``Place.NONE`` with the whole text as message when it names nothing known.

    >>> subject_of("usb 1-4-port2: unable to enumerate USB device").chain
    '4.2'
    """
    shapes, known = _BY_WORD, _ANY_WORD.match(text)
    if known is None:
        shapes, known = _BY_DRIVER, _ANY_DRIVER.match(text)
    if known is None:
        return Subject(Place.NONE, "", text)
    number, parts = known
    return _subject(shapes[number][0], parts)


def _subject(place: Place, parts: Mapping[str, Optional[str]]) -> Subject:
    message = parts["message"] or ""
    if message.startswith(_FAILED_PROBE):
        message = f"probe {message}"  # "usbhid: probe of 1-4.1:1.0 failed …" before kernel 6.10 or so (from memory)
    chain = parts.get("chain") or ""
    port = parts.get("port")
    return Subject(place, parts["name"] or "", message, parts.get("bus") or "", f"{chain}.{port}" if port else chain)
