"""The fields of SMBIOS structures by their places, for those types that ``smbios_types`` reads.

Names and offsets: DMTF DSP0134 section 7, read and remembered as the head of
``smbios`` says. A field that is not here stays undecoded.
"""

from __future__ import annotations

from typing import Dict, List, NamedTuple, Tuple

from usbwatch.capture.decode import smbios_names as names

__all__ = ["FIELDS", "PlacedField", "fields_of", "meaning_of"]

_TOP_BIT = 0x80


class PlacedField(NamedTuple):
    """One field of the formatted part."""

    offset: int
    size: int
    name: str
    """As DSP0134 writes it."""
    kind: str = "number"
    """``number``, ``string`` (the number of one), ``uuid`` or ``device`` (device and function of a PCI address)."""
    names: Dict[int, str] = {}  # noqa: RUF012 - a table that nothing writes to
    """What the values stand for."""
    top_bit: Tuple[str, str] = ("", "")
    """What bit 7 says when it is clear and when it is set; the value is then the seven bits below it."""


def _strings(*placed: Tuple[int, str]) -> Tuple[PlacedField, ...]:
    return tuple(PlacedField(offset, 1, name, "string") for offset, name in placed)


def _address(start: int) -> Tuple[PlacedField, ...]:
    return (
        PlacedField(start, 2, "Segment Group Number"),
        PlacedField(start + 2, 1, "Bus Number"),
        PlacedField(start + 3, 1, "Device/Function Number", "device"),
    )


_LOCK = ("", "with a chassis lock")
_ENABLED = ("disabled", "enabled")

FIELDS: Dict[int, Tuple[PlacedField, ...]] = {
    0: (
        *_strings((0x04, "Vendor"), (0x05, "BIOS Version"), (0x08, "BIOS Release Date")),
        PlacedField(0x14, 1, "System BIOS Major Release"),
        PlacedField(0x15, 1, "System BIOS Minor Release"),
        PlacedField(0x16, 1, "Embedded Controller Firmware Major Release"),
        PlacedField(0x17, 1, "Embedded Controller Firmware Minor Release"),
    ),
    1: (
        *_strings((0x04, "Manufacturer"), (0x05, "Product Name"), (0x06, "Version"), (0x07, "Serial Number")),
        PlacedField(0x08, 16, "UUID", "uuid"),
        *_strings((0x19, "SKU Number"), (0x1A, "Family")),
    ),
    2: _strings(
        (0x04, "Manufacturer"),
        (0x05, "Product"),
        (0x06, "Version"),
        (0x07, "Serial Number"),
        (0x08, "Asset Tag"),
        (0x0A, "Location in Chassis"),
    ),
    3: (
        *_strings((0x04, "Manufacturer")),
        PlacedField(0x05, 1, "Type", names=names.CHASSIS_TYPES, top_bit=_LOCK),
        *_strings((0x06, "Version"), (0x07, "Serial Number"), (0x08, "Asset Tag Number")),
        PlacedField(0x13, 1, "Contained Element Count"),
        PlacedField(0x14, 1, "Contained Element Record Length"),
    ),
    8: (
        *_strings((0x04, "Internal Reference Designator")),
        PlacedField(0x05, 1, "Internal Connector Type", names=names.CONNECTOR_TYPES),
        *_strings((0x06, "External Reference Designator")),
        PlacedField(0x07, 1, "External Connector Type", names=names.CONNECTOR_TYPES),
        PlacedField(0x08, 1, "Port Type", names=names.PORT_TYPES),
    ),
    9: (
        *_strings((0x04, "Slot Designation")),
        PlacedField(0x05, 1, "Slot Type", names=names.SLOT_TYPES),
        PlacedField(0x07, 1, "Current Usage", names=names.SLOT_USAGES),
        PlacedField(0x09, 2, "Slot ID"),
        *_address(0x0D),
    ),
    17: (
        PlacedField(0x0C, 2, "Size"),
        PlacedField(0x0E, 1, "Form Factor", names=names.MEMORY_FORM_FACTORS),
        *_strings((0x10, "Device Locator"), (0x11, "Bank Locator")),
        PlacedField(0x12, 1, "Memory Type", names=names.MEMORY_TYPES),
        PlacedField(0x15, 2, "Speed"),
        *_strings((0x17, "Manufacturer"), (0x18, "Serial Number"), (0x19, "Asset Tag"), (0x1A, "Part Number")),
        PlacedField(0x1C, 4, "Extended Size"),
        PlacedField(0x20, 2, "Configured Memory Speed"),
        PlacedField(0x54, 4, "Extended Speed"),
        PlacedField(0x58, 4, "Extended Configured Memory Speed"),
    ),
    21: (
        PlacedField(0x04, 1, "Type", names=names.POINTING_KINDS),
        PlacedField(0x05, 1, "Interface", names=names.POINTING_INTERFACES),
        PlacedField(0x06, 1, "Number of Buttons"),
    ),
    22: (
        *_strings((0x04, "Location"), (0x05, "Manufacturer"), (0x06, "Manufacture Date"), (0x07, "Serial Number")),
        *_strings((0x08, "Device Name")),
        PlacedField(0x09, 1, "Device Chemistry", names=names.BATTERY_CHEMISTRIES),
        PlacedField(0x0A, 2, "Design Capacity"),
        PlacedField(0x0C, 2, "Design Voltage"),
        *_strings((0x0E, "SBDS Version Number")),
        PlacedField(0x0F, 1, "Maximum Error in Battery Data"),
        PlacedField(0x10, 2, "SBDS Serial Number"),
        PlacedField(0x12, 2, "SBDS Manufacture Date"),
        *_strings((0x14, "SBDS Device Chemistry")),
        PlacedField(0x15, 1, "Design Capacity Multiplier"),
        PlacedField(0x16, 4, "OEM-specific"),
    ),
    41: (
        *_strings((0x04, "Reference Designation")),
        PlacedField(0x05, 1, "Device Type", names=names.ONBOARD_DEVICE_TYPES, top_bit=_ENABLED),
        PlacedField(0x06, 1, "Device Type Instance"),
        *_address(0x07),
    ),
}
"""By structure type, in the order of their places. Types 3 and 10 go on as their own bytes say: ``fields_of``."""


def fields_of(structure_type: int, formatted: bytes) -> Tuple[PlacedField, ...]:
    """The fields that a structure of a type has in its formatted part, none for a type that is not known."""
    placed: List[PlacedField] = list(FIELDS.get(structure_type, ()))
    if structure_type == 3 and len(formatted) > 0x14:  # noqa: PLR2004 - the type, and its last counting byte
        placed += _strings((0x15 + formatted[0x13] * formatted[0x14], "SKU Number"))
    if structure_type == 10:  # noqa: PLR2004 - the type
        for number, at in enumerate(range(0x04, len(formatted) - 1, 2), 1):
            placed.append(
                PlacedField(at, 1, f"Device {number} Type", names=names.ONBOARD_DEVICE_TYPES, top_bit=_ENABLED)
            )
            placed += _strings((at + 1, f"Device {number} Description String"))
    return tuple(field for field in placed if field.offset + field.size <= len(formatted))


def meaning_of(field: PlacedField, value: int, strings: Tuple[str, ...]) -> str:
    """What a value of a field stands for, "" where no table knows it."""
    if field.kind == "string":
        return strings[value - 1] if 1 <= value <= len(strings) else "" if value else "none given"
    if field.kind == "device":
        return f"{value >> 3:02x}.{value & 0x07}"
    low = value & ~_TOP_BIT if any(field.top_bit) else value
    words = (field.names.get(low, ""), field.top_bit[value >> 7 & 1])
    return ", ".join(filter(None, words))
