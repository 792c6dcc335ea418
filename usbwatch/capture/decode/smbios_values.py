"""The values that the SMBIOS structure table holds. ``smbios`` makes them.

A text is None where the firmware gives none (string number 0, or a field that
this length of structure does not have), and so is a number that is unknown.
All texts are printable: what is not is escaped. Field names in the docstrings
are those of DMTF DSP0134.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Tuple

from usbwatch.capture.decode.defect import Defect

__all__ = [
    "Baseboard",
    "Enclosure",
    "Firmware",
    "MemoryDevice",
    "OnboardDevice",
    "PointingDevice",
    "PortConnector",
    "PortableBattery",
    "Slot",
    "Smbios",
    "Structure",
    "System",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """One structure of the table, as it came."""

    offset: int
    length: int
    """Of its formatted part and its strings together, with the zero bytes that end them."""
    structure_type: int
    handle: int
    formatted: str
    """The formatted part as lower-case hex, its four header bytes included."""
    strings: Tuple[str, ...]
    """Number 1 first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Firmware:
    """Type 0, platform firmware information."""

    handle: int
    vendor: str | None
    version: str | None
    release_date: str | None
    """As the firmware writes it, mm/dd/yyyy by the standard."""
    release: str | None
    """``1.7``: system BIOS major and minor release; None when neither is given."""
    controller_release: str | None
    """The same of the embedded controller's firmware."""


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """Type 1, system information."""

    handle: int
    manufacturer: str | None
    product_name: str | None
    version: str | None
    serial_number: str | None
    uuid: str | None
    """Read as SMBIOS 2.6 and later write it, the first three fields little-endian; None when it is not set."""
    sku_number: str | None
    family: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseboard:
    """Type 2, baseboard information."""

    handle: int
    manufacturer: str | None
    product: str | None
    version: str | None
    serial_number: str | None
    asset_tag: str | None
    location_in_chassis: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosure:
    """Type 3, system enclosure or chassis."""

    handle: int
    manufacturer: str | None
    chassis_type: int | None
    """Without the lock bit."""
    chassis_name: str
    """Of the type, "" for one that has none."""
    locked: bool | None
    """Whether a chassis lock is present."""
    version: str | None
    serial_number: str | None
    asset_tag: str | None
    sku_number: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PortConnector:
    """Type 8, a port: what it is called inside and outside the case."""

    handle: int
    internal_designator: str | None
    internal_connector: int | None
    internal_connector_name: str
    external_designator: str | None
    external_connector: int | None
    external_connector_name: str
    port_type: int | None
    port_name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """Type 9, a system slot."""

    handle: int
    designation: str | None
    slot_type: int | None
    slot_name: str
    usage: int | None
    usage_name: str
    """``available`` for an empty one, ``in use``."""
    slot_id: int | None
    bus_address: str | None
    """``0000:00:1c.0``: PCI segment, bus, device and function; None when it has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MemoryDevice:
    """Type 17, a place for memory, fitted or empty."""

    handle: int
    fitted: bool | None
    """False when Size is 0; None when the structure ends before it."""
    size_mib: float | None
    """None when it is empty or unknown."""
    form_factor: int | None
    form_factor_name: str
    device_locator: str | None
    """What is printed beside the socket."""
    bank_locator: str | None
    memory_type: int | None
    memory_name: str
    speed_mts: int | None
    """Megatransfers a second."""
    configured_speed_mts: int | None
    manufacturer: str | None
    serial_number: str | None
    asset_tag: str | None
    part_number: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PointingDevice:
    """Type 21, a built-in pointing device. It need not be the one in use, nor need it be there."""

    handle: int
    kind: int | None
    kind_name: str
    interface: int | None
    interface_name: str
    """Which bus to look at; "" for a number that the standard has not given out."""
    button_count: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PortableBattery:
    """Type 22, a portable battery as the firmware believes it was designed. Never evidence that one is there."""

    handle: int
    location: str | None
    manufacturer: str | None
    manufacture_date: str | None
    """As a text, where the firmware gives one; see ``made_on``."""
    serial_number: str | None
    """As a text, where the firmware gives one; see ``serial``."""
    device_name: str | None
    chemistry: int | None
    """None when it is 2, unknown, or not there."""
    chemistry_name: str
    design_capacity_mwh: int | None
    """Design Capacity times its multiplier."""
    design_voltage_mv: int | None
    sbds_version: str | None
    """Release of the smart battery data specification."""
    maximum_error_percent: int | None
    sbds_serial_number: int | None
    """None when the text serial number is given, since then this field means nothing."""
    sbds_manufacture_date: str | None
    """``2025-03-01``; None when the text date is given, or when no date is set. The packed date has any day of 0 to
    31 and month of 0 to 15; one that no calendar has is None, with a defect."""
    sbds_chemistry: str | None
    """None when ``chemistry`` is known."""
    oem_specific: int | None

    @property
    def serial(self) -> str | None:
        """The serial number, the text before the smart battery's four hex digits."""
        if self.serial_number is not None:
            return self.serial_number
        return None if self.sbds_serial_number is None else f"{self.sbds_serial_number:04x}"

    @property
    def made_on(self) -> str | None:
        """The date of manufacture, the text before the smart battery's."""
        return self.manufacture_date or self.sbds_manufacture_date


@dataclass(frozen=True, slots=True, kw_only=True)
class OnboardDevice:
    """Type 41, an onboard device."""

    handle: int
    reference_designation: str | None
    device_type: int | None
    """Without the enabled bit."""
    device_name: str
    enabled: bool | None
    """Whether the firmware has it switched on."""
    instance: int | None
    bus_address: str | None
    """``0000:00:19.0``; None when it has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Smbios:
    """The structure table."""

    structures: Tuple[Structure, ...] = ()
    """All of them, in the order of the bytes; each decoded one below has the same handle."""
    firmware: Tuple[Firmware, ...] = ()
    systems: Tuple[System, ...] = ()
    baseboards: Tuple[Baseboard, ...] = ()
    enclosures: Tuple[Enclosure, ...] = ()
    port_connectors: Tuple[PortConnector, ...] = ()
    slots: Tuple[Slot, ...] = ()
    memory_devices: Tuple[MemoryDevice, ...] = ()
    pointing_devices: Tuple[PointingDevice, ...] = ()
    portable_batteries: Tuple[PortableBattery, ...] = ()
    onboard_devices: Tuple[OnboardDevice, ...] = ()
    padding: int = 0
    """Zero bytes after the end-of-table structure."""
    defects: Tuple[Defect, ...] = ()
    """By offset."""
