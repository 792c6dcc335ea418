"""Reads one SMBIOS structure of each type that the bench asks for. Sources are at the head of ``smbios``.

A structure may be shorter than the newest release has it: what it ends before
is None.
"""

from __future__ import annotations

from datetime import date
from typing import Dict, List

from usbwatch.capture.decode import smbios_names as names
from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.smbios_values import (
    Baseboard,
    Enclosure,
    Firmware,
    MemoryDevice,
    OnboardDevice,
    PointingDevice,
    PortableBattery,
    PortConnector,
    Slot,
    Structure,
    System,
)

__all__ = [
    "Fields",
    "baseboard",
    "enclosure",
    "firmware",
    "memory_device",
    "onboard_device",
    "pointing_device",
    "port_connector",
    "portable_battery",
    "slot",
    "system",
]

_BYTE = 0xFF
_WORD = 0xFFFF
_TOP_BIT = 0x80


class Fields:
    """The formatted part of a structure, read by offset."""

    def __init__(self, structure: Structure) -> None:
        self.data = bytes.fromhex(structure.formatted)
        self.handle = structure.handle
        self.offset = structure.offset
        self.strings = structure.strings
        self.defects: List[Defect] = []

    def number(self, at: int, size: int = 1, *, unknown: int | None = None) -> int | None:
        """A little-endian number; None when it is ``unknown`` or the structure ends before it does."""
        if at + size > len(self.data):
            return None
        value = int.from_bytes(self.data[at : at + size], "little")
        return None if value == unknown else value

    def text(self, at: int) -> str | None:
        """The string that the byte at ``at`` numbers, None for number 0."""
        number = self.number(at)
        if not number:
            return None
        if number > len(self.strings):
            self.wrong(at, f"string {number} is asked for, there are {len(self.strings)}")
            return None
        return self.strings[number - 1]

    def wrong(self, at: int, problem: str) -> None:
        """Note a defect of the field at ``at``."""
        self.defects.append(Defect(offset=self.offset + at, problem=problem))


def firmware(fields: Fields) -> Firmware:
    """Type 0."""
    return Firmware(
        handle=fields.handle,
        vendor=fields.text(0x04),
        version=fields.text(0x05),
        release_date=fields.text(0x08),
        release=_release(fields, 0x14),
        controller_release=_release(fields, 0x16),
    )


def _release(fields: Fields, at: int) -> str | None:
    """Major and minor release; FFh in either: not given."""
    major, minor = fields.number(at, unknown=_BYTE), fields.number(at + 1, unknown=_BYTE)
    return None if major is None or minor is None else f"{major}.{minor}"


def system(fields: Fields) -> System:
    """Type 1."""
    return System(
        handle=fields.handle,
        manufacturer=fields.text(0x04),
        product_name=fields.text(0x05),
        version=fields.text(0x06),
        serial_number=fields.text(0x07),
        uuid=_uuid(fields.data[0x08:0x18]),
        sku_number=fields.text(0x19),
        family=fields.text(0x1A),
    )


def _uuid(raw: bytes) -> str | None:
    """None when it is not there, all zero (not present) or all ones (not set)."""
    if len(raw) < 16 or raw in (bytes(16), b"\xff" * 16):  # noqa: PLR2004
        return None
    parts = (raw[3::-1], raw[5:3:-1], raw[7:5:-1], raw[8:10], raw[10:])
    return "-".join(part.hex() for part in parts)


def baseboard(fields: Fields) -> Baseboard:
    """Type 2."""
    return Baseboard(
        handle=fields.handle,
        manufacturer=fields.text(0x04),
        product=fields.text(0x05),
        version=fields.text(0x06),
        serial_number=fields.text(0x07),
        asset_tag=fields.text(0x08),
        location_in_chassis=fields.text(0x0A),
    )


def enclosure(fields: Fields) -> Enclosure:
    """Type 3."""
    coded = fields.number(0x05)
    kind = None if coded is None else coded & ~_TOP_BIT
    count, size = fields.number(0x13), fields.number(0x14)
    at_sku = None if count is None or size is None else 0x15 + count * size
    return Enclosure(
        handle=fields.handle,
        manufacturer=fields.text(0x04),
        chassis_type=kind,
        chassis_name=_name(names.CHASSIS_TYPES, kind),
        locked=None if coded is None else bool(coded & _TOP_BIT),
        version=fields.text(0x06),
        serial_number=fields.text(0x07),
        asset_tag=fields.text(0x08),
        sku_number=None if at_sku is None else fields.text(at_sku),
    )


def _name(table: Dict[int, str], number: int | None) -> str:
    return "" if number is None else table.get(number, "")


def port_connector(fields: Fields) -> PortConnector:
    """Type 8."""
    inside, outside, port = fields.number(0x05), fields.number(0x07), fields.number(0x08)
    return PortConnector(
        handle=fields.handle,
        internal_designator=fields.text(0x04),
        internal_connector=inside,
        internal_connector_name=_name(names.CONNECTOR_TYPES, inside),
        external_designator=fields.text(0x06),
        external_connector=outside,
        external_connector_name=_name(names.CONNECTOR_TYPES, outside),
        port_type=port,
        port_name=_name(names.PORT_TYPES, port),
    )


def slot(fields: Fields) -> Slot:
    """Type 9."""
    kind, usage = fields.number(0x05), fields.number(0x07)
    return Slot(
        handle=fields.handle,
        designation=fields.text(0x04),
        slot_type=kind,
        slot_name=_name(names.SLOT_TYPES, kind),
        usage=usage,
        usage_name=_name(names.SLOT_USAGES, usage),
        slot_id=fields.number(0x09, 2),
        bus_address=_bus_address(fields, 0x0D),
    )


def _bus_address(fields: Fields, at: int) -> str | None:
    """Segment group (2), bus (1) and device with function (1); bus and device of FFh: none."""
    segment, bus, device = fields.number(at, 2), fields.number(at + 2), fields.number(at + 3)
    if segment is None or bus is None or device is None or (bus == _BYTE and device == _BYTE):
        return None
    return f"{segment:04x}:{bus:02x}:{device >> 3:02x}.{device & 0x07}"


_KIB_UNIT = 0x8000
_SIZE_ELSEWHERE = 0x7FFF


def memory_device(fields: Fields) -> MemoryDevice:
    """Type 17."""
    size, form, kind = fields.number(0x0C, 2), fields.number(0x0E), fields.number(0x12)
    return MemoryDevice(
        handle=fields.handle,
        fitted=None if size is None else bool(size),
        size_mib=_memory_mib(fields, size),
        form_factor=form,
        form_factor_name=_name(names.MEMORY_FORM_FACTORS, form),
        device_locator=fields.text(0x10),
        bank_locator=fields.text(0x11),
        memory_type=kind,
        memory_name=_name(names.MEMORY_TYPES, kind),
        speed_mts=_speed(fields, 0x15, 0x54),
        configured_speed_mts=_speed(fields, 0x20, 0x58),
        manufacturer=fields.text(0x17),
        serial_number=fields.text(0x18),
        asset_tag=fields.text(0x19),
        part_number=fields.text(0x1A),
    )


def _memory_mib(fields: Fields, size: int | None) -> float | None:
    """Size: FFFFh unknown, 0 empty, bit 15 set: KiB instead of MiB; 7FFFh: see Extended Size, in MiB."""
    if not size or size == _WORD:
        return None
    if size == _SIZE_ELSEWHERE:
        extended = fields.number(0x1C, 4)
        return None if extended is None else float(extended & 0x7FFFFFFF)
    return (size & _SIZE_ELSEWHERE) / 1024 if size & _KIB_UNIT else float(size)


def _speed(fields: Fields, at: int, at_extended: int) -> int | None:
    """0: unknown; FFFFh: see the extended speed."""
    speed = fields.number(at, 2, unknown=0)
    return fields.number(at_extended, 4, unknown=0) if speed == _WORD else speed


def pointing_device(fields: Fields) -> PointingDevice:
    """Type 21."""
    kind, interface = fields.number(0x04), fields.number(0x05)
    return PointingDevice(
        handle=fields.handle,
        kind=kind,
        kind_name=_name(names.POINTING_KINDS, kind),
        interface=interface,
        interface_name=_name(names.POINTING_INTERFACES, interface),
        button_count=fields.number(0x06),
    )


_UNKNOWN_CHEMISTRY = 0x02


def portable_battery(fields: Fields) -> PortableBattery:
    """Type 22. The smart battery's fields count where the text or code before them says nothing."""
    chemistry = fields.number(0x09, unknown=_UNKNOWN_CHEMISTRY)
    serial, made = fields.text(0x07), fields.text(0x06)
    return PortableBattery(
        handle=fields.handle,
        location=fields.text(0x04),
        manufacturer=fields.text(0x05),
        manufacture_date=made,
        serial_number=serial,
        device_name=fields.text(0x08),
        chemistry=chemistry,
        chemistry_name=_name(names.BATTERY_CHEMISTRIES, chemistry),
        design_capacity_mwh=_capacity_mwh(fields),
        design_voltage_mv=fields.number(0x0C, 2, unknown=0),
        sbds_version=fields.text(0x0E),
        maximum_error_percent=fields.number(0x0F, unknown=_BYTE),
        sbds_serial_number=fields.number(0x10, 2) if serial is None else None,
        sbds_manufacture_date=_packed_date(fields, 0x12) if made is None else None,
        sbds_chemistry=fields.text(0x14) if chemistry is None else None,
        oem_specific=fields.number(0x16, 4),
    )


def _capacity_mwh(fields: Fields) -> int | None:
    """Design Capacity times Design Capacity Multiplier, which releases before 2.2 do not have.

    The multiplier is believed only in a structure that holds it (22 bytes or more). One of 0 makes no sense and
    counts as 1, as the kernel takes it (from memory).
    """
    capacity = fields.number(0x0A, 2, unknown=0)
    multiplier = fields.number(0x15)
    if multiplier == 0:
        fields.wrong(0x15, "the capacity multiplier is 0; taken as 1")
    return None if capacity is None else capacity * (multiplier or 1)


def _packed_date(fields: Fields, at: int) -> str | None:
    """Bits 15 to 9 the year from 1980, 8 to 5 the month, 4 to 0 the day; 0: not set."""
    packed = fields.number(at, 2, unknown=0)
    if packed is None:
        return None
    year, month, day = 1980 + (packed >> 9), packed >> 5 & 0x0F, packed & 0x1F
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        fields.wrong(at, f"{year:04d}-{month:02d}-{day:02d} is no date")
        return None


def onboard_device(fields: Fields) -> OnboardDevice:
    """Type 41."""
    coded = fields.number(0x05)
    kind = None if coded is None else coded & ~_TOP_BIT
    return OnboardDevice(
        handle=fields.handle,
        reference_designation=fields.text(0x04),
        device_type=kind,
        device_name=_name(names.ONBOARD_DEVICE_TYPES, kind),
        enabled=None if coded is None else bool(coded & _TOP_BIT),
        instance=fields.number(0x06),
        bus_address=_bus_address(fields, 0x07),
    )
