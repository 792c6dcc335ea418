"""The SMBIOS table of an invented laptop, as root finds it in ``/sys/firmware/dmi/tables``.

Layouts: DMTF DSP0134 6.1.2 and 6.1.3 (header, strings), 7.2 to 7.4, 7.22,
7.23, 7.42; those of types 2, 3, 21 and 22 are held against a real kernel's
table in ``tests/data/trees``, type 41's is from memory.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

from support.tree.parts import Laptop
from support.tree.writer import Writer

__all__ = ["ENTRY_POINT", "build_smbios", "onboard", "pointing", "record", "table"]

ENTRY_POINT = b"_SM3_\0\x18\x03\x07\0\x01\0" + struct.pack("<IQ", 4096, 0)
"""A 64-bit entry point of version 3.7 [from memory, section 5.2.2]; its checksum is not filled in."""

_FOLDER = "sys/firmware/dmi/tables"
_TOUCH_PAD = 7
_USB, _I2C, _SPI = 0xA2, 0xA3, 0xA4


def record(kind: int, handle: int, fields: bytes, *strings: str | bytes) -> bytes:
    """A structure: header, formatted part, strings, and the two zero bytes that end it."""
    text = b"".join((one if isinstance(one, bytes) else one.encode()) + b"\0" for one in strings) or b"\0"
    return struct.pack("<BBH", kind, 4 + len(fields), handle) + fields + text + b"\0"


def table(*records: bytes) -> bytes:
    """The records with the end-of-table structure behind them."""
    return b"".join(records) + record(127, 0x7F00, b"")


def pointing(kind: int, interface: int, *, buttons: int = 2, handle: int = 0x1500) -> bytes:
    """A type 21 record."""
    return record(21, handle, bytes([kind, interface, buttons]))


def onboard(kind: int, name: str | bytes, *, enabled: bool = True, bus: int = 0, slot: int = 0, handle: int) -> bytes:
    """A type 41 record; ``slot`` is device times 8 plus function, and with a bus of FFh there is no address."""
    coded = kind | (0x80 if enabled else 0)
    return record(41, handle, struct.pack("<BBBHBB", 1, coded, 1, 0, bus, 0xFF if bus == 0xFF else slot), name)


def build_smbios(writer: Writer, laptop: Laptop) -> None:
    """The table and its entry point, for their owner alone as the kernel has them."""
    writer.file(f"{_FOLDER}/DMI", table(*_records(laptop)))
    writer.file(f"{_FOLDER}/smbios_entry_point", ENTRY_POINT)
    for name in ("DMI", "smbios_entry_point"):
        writer.private(f"{_FOLDER}/{name}")


def _records(laptop: Laptop) -> Iterator[bytes]:
    dmi = laptop.dmi
    board = (dmi["board_vendor"], dmi["board_name"], dmi["board_version"], dmi["board_serial"])
    yield record(2, 0x0200, bytes([1, 2, 3, 4, 0, 1, 0, 0, 3, 10, 0]), *board)
    chassis = (dmi["chassis_vendor"], dmi["chassis_version"], dmi["chassis_serial"])
    fields = struct.pack("<9BI4B", 1, int(dmi["chassis_type"]), 2, 3, 0, 3, 3, 3, 3, 0, 0, 1, 0, 0)
    yield record(3, 0x0300, fields, *chassis)
    interface = _touch_pads_interface(laptop)
    if interface:
        yield pointing(_TOUCH_PAD, interface)
    for number, part in enumerate(part for part in laptop.acpi if part.battery):
        assert part.battery is not None
        capacity = part.battery.full_design * part.battery.voltage_min_design // 1_000_000_000
        words = (part.battery.manufacturer, part.battery.serial, part.battery.model)
        voltage = part.battery.voltage_min_design // 1000
        numbers = struct.pack("<6B2H2B2H2BI", 0, 1, 0, 2, 3, 6, capacity // 10, voltage, 0, 0xFF, 0, 0, 0, 10, 0)
        yield record(22, 0x1600 + number, numbers, *words)
    for pci in laptop.pci:
        if pci.class_code == "020000" and "/" not in pci.slot:
            device, _, function = pci.slot.partition(".")
            yield onboard(5, "Onboard LAN", slot=int(device, 16) << 3 | int(function), handle=0x2900)


def _touch_pads_interface(laptop: Laptop) -> int:
    if any(part.id == "touchpad" for part in laptop.usb):
        return _USB
    if any(client.id == "touchpad" for pci in laptop.pci for client in pci.i2c):
        return _I2C
    return _SPI if any(client.id == "touchpad" for pci in laptop.pci for client in pci.spi) else 0
