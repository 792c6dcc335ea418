"""USB class codes: their names, and what a device of a class does.

The base classes are the USB-IF's. Their names were compared with the list
``usb.ids``, and the codes with the kernel's ``include/uapi/linux/usb/ch9.h``.
"""

from __future__ import annotations

from typing import Dict, NamedTuple, Tuple

__all__ = ["BASE_CLASSES", "BaseClass", "class_name", "functions_of"]


class BaseClass(NamedTuple):
    """One base class of the USB-IF."""

    name: str
    where: str
    """Which descriptors may carry it: ``device``, ``interface`` or ``both`` (the USB-IF's class code page,
    read in a reproduction; 13, 14 and 3c from memory)."""


BASE_CLASSES: Dict[int, BaseClass] = {
    0x00: BaseClass("Defined at Interface level", "device"),
    0x01: BaseClass("Audio", "interface"),
    0x02: BaseClass("Communications", "both"),
    0x03: BaseClass("Human Interface Device", "interface"),
    0x05: BaseClass("Physical Interface Device", "interface"),
    0x06: BaseClass("Imaging", "interface"),
    0x07: BaseClass("Printer", "interface"),
    0x08: BaseClass("Mass Storage", "interface"),
    0x09: BaseClass("Hub", "device"),
    0x0A: BaseClass("CDC Data", "interface"),
    0x0B: BaseClass("Chip/SmartCard", "interface"),
    0x0D: BaseClass("Content Security", "interface"),
    0x0E: BaseClass("Video", "interface"),
    0x0F: BaseClass("Personal Healthcare", "interface"),
    0x10: BaseClass("Audio/Video", "interface"),
    0x11: BaseClass("Billboard", "device"),
    0x12: BaseClass("Type-C Bridge", "interface"),
    0x13: BaseClass("Bulk Display", "interface"),
    0x14: BaseClass("MCTP over USB", "interface"),
    0x3C: BaseClass("I3C", "interface"),
    0xDC: BaseClass("Diagnostic", "both"),
    0xE0: BaseClass("Wireless", "interface"),
    0xEF: BaseClass("Miscellaneous Device", "both"),
    0xFE: BaseClass("Application Specific Interface", "interface"),
    0xFF: BaseClass("Vendor Specific Class", "both"),
}
"""By bDeviceClass or bInterfaceClass."""


class _Rule(NamedTuple):
    """What a device of a class does; a subclass or protocol of None stands for any."""

    base_class: int
    subclass: int | None
    protocol: int | None
    functions: Tuple[str, ...]


_RULES: Tuple[_Rule, ...] = (
    _Rule(0x01, None, None, ("audio",)),
    # Subclasses of 02: include/uapi/linux/usb/cdc.h. A modem (02/02) may be anything with a serial line.
    _Rule(0x02, 0x06, None, ("ethernet",)),
    _Rule(0x02, 0x0C, None, ("ethernet",)),
    _Rule(0x02, 0x0D, None, ("ethernet",)),
    _Rule(0x02, 0x0E, None, ("wwan",)),
    # HID 1.11 section 4.2 and 4.3: only the boot subclass says what it is. All others say it in their reports.
    _Rule(0x03, 0x01, 0x01, ("keyboard",)),
    _Rule(0x03, 0x01, 0x02, ("mouse", "pointing-device")),
    _Rule(0x08, None, None, ("storage",)),
    _Rule(0x09, None, None, ("hub",)),
    _Rule(0x0B, None, None, ("smart-card-reader",)),
    _Rule(0x0E, None, None, ("camera",)),
    _Rule(0xE0, 0x01, 0x01, ("bluetooth",)),
)
"""The first that fits holds.

No class names a fingerprint reader: most are vendor specific (common practice, no source).
"""


_BY_CLASS = {one.base_class: tuple(rule for rule in _RULES if rule.base_class == one.base_class) for one in _RULES}


def class_name(base_class: int) -> str:
    """The name of a base class, or "" for a code that the USB-IF has not given out."""
    known = BASE_CLASSES.get(base_class)
    return known.name if known else ""


def functions_of(base_class: int, subclass: int, protocol: int) -> Tuple[str, ...]:
    """What a device or interface of this class does, sorted; empty when its class does not tell.

    >>> functions_of(0x03, 0x01, 0x02)
    ('mouse', 'pointing-device')
    >>> functions_of(0xFF, 0x00, 0x00)
    ()
    """
    for rule in _BY_CLASS.get(base_class, ()):
        if rule.subclass in (None, subclass) and rule.protocol in (None, protocol):
            return rule.functions
    return ()
