"""Firmware of the invented laptop: an ACPI table and SMBIOS records.

The table declares battery, mains adapter, lid, power button, and what each
USB port is wired to (ACPI 6.5: 6.1.8 _PLD, 9.14 _UPC, 10.2.2 control method
batteries). The records are those of SMBIOS 3.7: 7.1 to 7.5, 7.18, 7.22, 7.23.
"""

from __future__ import annotations

import struct
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

__all__ = ["MUTE", "MUTE_PORT", "Gauge", "firmware_arguments"]

Gauge = Literal["talks", "silent"]
"""What the battery's gauge does. A silent one leaves every figure at the standard's "unknown"."""

MUTE_PORT, MUTE = 0x3FF, 0x5A
"""While this byte stands in the scratch register of the serial port (16550 UART, register 7), which nothing else uses,
the gauge's status is "unknown": a gauge that falls silent while the system runs."""

_SUPER_SPEED_PORTS = 3
_PORTS = {
    1: "left",
    2: "right",
    3: "right",
    4: "internal",
    5: "internal",
    6: "internal",
    7: "unused",
    8: "internal",
    9: "internal",
    10: "unused",
}
"""What each port of the USB controller is wired to; the first three also have a SuperSpeed half."""
_HUB_PORT, _HUB_PORTS = 4, 4

_PANEL = {"left": 2, "right": 3, "internal": 6, "unused": 6}
_UNKNOWN = 0xFFFFFFFF


def firmware_arguments(folder: Path, gauge: Gauge) -> list[str]:
    """The emulator's arguments for this firmware; its files are made in ``folder``."""
    source = folder / "laptop.asl"
    source.write_text("\n".join(_table(gauge)), "ascii")
    compiled = subprocess.run(["iasl", "-vs", "-p", folder / "laptop", source], capture_output=True, check=False)
    if compiled.returncode:
        raise RuntimeError(compiled.stdout.decode(errors="replace") + compiled.stderr.decode(errors="replace"))
    arguments = ["-acpitable", f"file={folder / 'laptop.aml'}"]
    for strings in _BY_FIELD:
        arguments += ["-smbios", strings]
    for kind, record in _RECORDS.items():
        path = folder / f"smbios-{kind}"
        path.write_bytes(record)
        arguments += ["-smbios", f"file={path}"]
    return arguments


def _table(gauge: Gauge) -> Iterator[str]:
    """Lines of the table in ASL."""
    yield 'DefinitionBlock ("", "SSDT", 2, "FERNHL", "LARCH13", 1) {'
    yield "External (\\_SB.PCI0, DeviceObj)"
    yield "External (\\_SB.PCI0.SA0, DeviceObj)"
    yield "Scope (\\_SB) {"
    yield 'Device (AC0) { Name (_HID, "ACPI0003") Name (_PCL, Package () { \\_SB })'
    yield "  Method (_STA) { Return (0x0F) } Method (_PSR) { Return (1) } }"
    yield 'Device (LID0) { Name (_HID, EisaId ("PNP0C0D"))'
    yield "  Method (_STA) { Return (0x0F) } Method (_LID) { Return (1) } }"
    yield 'Device (PWRB) { Name (_HID, EisaId ("PNP0C0C")) Method (_STA) { Return (0x0F) } }'
    yield from _battery(gauge)
    yield "}"
    # QEMU's own table calls the device at 14.0 "SA0".
    yield "Scope (\\_SB.PCI0.SA0) { Device (RHUB) { Name (_ADR, 0)"
    for port, wired_to in _PORTS.items():
        yield from _port(port, wired_to)
    yield "} } }"


def _battery(gauge: Gauge) -> Iterator[str]:
    # _BIX revision 0: power unit mA, design and full capacity in mAh, technology, design voltage in mV, warning and
    # low levels, cycle count, accuracy, sampling times, averaging intervals, granularities.
    information: tuple[int, ...] = (0, 1, 4390, 4105, 1, 11400, 220, 110, 87, 95000, 0, 0, 1000, 500, 10, 10)
    # _BST: charging, rate in mA, remaining capacity in mAh, voltage in mV.
    status: tuple[int, ...] = (2, 860, 2545, 11912)
    names = ("LB-4C50", "FB-0001-DEMO", "LION", "Fernhill Cells")
    if gauge == "silent":
        information = (0, 1, *(_UNKNOWN,) * 4, 0, 0, *(_UNKNOWN,) * 3, *(0,) * 5)
        status = (0, _UNKNOWN, _UNKNOWN, _UNKNOWN)
        names = ("", "", "", "")
    figures = ", ".join(map(hex, information))
    words = ", ".join(f'"{name}"' for name in names)
    yield 'Device (BAT0) { Name (_HID, EisaId ("PNP0C0A")) Name (_UID, 1) Name (_PCL, Package () { \\_SB })'
    yield "  Method (_STA) { Return (0x1F) }"
    yield f"  Method (_BIX) {{ Return (Package () {{ {figures}, {words} }}) }}"
    unknown = ", ".join(map(hex, (0, _UNKNOWN, _UNKNOWN, _UNKNOWN)))
    yield f"  OperationRegion (SCR, SystemIO, {MUTE_PORT:#x}, 1) Field (SCR, ByteAcc, NoLock, Preserve) {{ HUSH, 8 }}"
    yield f"  Method (_BST) {{ If (LEqual (HUSH, {MUTE:#x})) {{ Return (Package () {{ {unknown} }}) }}"
    yield f"    Return (Package () {{ {', '.join(map(hex, status))} }}) }} }}"


def _port(port: int, wired_to: str) -> Iterator[str]:
    """A root port with both of its halves, and the internal hub's own ports."""
    # _ADR is the controller's raw number, and this controller numbers its SuperSpeed ports first.
    yield f"Device (HS{port:02d}) {{ Name (_ADR, {port + _SUPER_SPEED_PORTS}) {_wiring(wired_to, port)}"
    if port == _HUB_PORT:
        for below in range(1, _HUB_PORTS + 1):
            yield f"  Device (HP{below:02d}) {{ Name (_ADR, {below}) {_wiring('internal', 0x10 + below)} }}"
    yield "}"
    if port <= _SUPER_SPEED_PORTS:
        yield f"Device (SS{port:02d}) {{ Name (_ADR, {port}) {_wiring(wired_to, port)} }}"


def _wiring(wired_to: str, position: int) -> str:
    """_UPC (connectable, connector type) and _PLD (where) of a port."""
    connectable = 0 if wired_to == "unused" else 0xFF
    connector = 0x00 if wired_to in ("left", "right") else 0xFF  # type A; proprietary
    visible = int(wired_to in ("left", "right"))
    # Revision 2, colour ignored; user visible, panel, vertical and horizontal position, shape, group position.
    place = 2 | 1 << 7 | visible << 64 | _PANEL[wired_to] << 67 | 1 << 70 | 1 << 72 | 1 << 74 | position << 87
    figures = ", ".join(f"0x{byte:02X}" for byte in place.to_bytes(20, "little"))
    capabilities = f"Name (_UPC, Package () {{ 0x{connectable:02X}, 0x{connector:02X}, 0, 0 }})"
    return f"{capabilities} Name (_PLD, Package () {{ Buffer () {{ {figures} }} }})"


_BY_FIELD = (
    "type=0,vendor=Fernhill Firmware,version=FH1.07,date=03/14/2025,release=1.7",
    "type=1,manufacturer=Fernhill,product=Larch 13,version=Rev B,serial=LG-0001-DEMO,sku=L13-8-256,family=Larch",
    "type=2,manufacturer=Fernhill,product=LB13-MB,version=B2,serial=MB-0001-DEMO,asset=none,location=main",
    "type=4,manufacturer=Fernhill",
    "type=17,manufacturer=Fernhill,part=DDR-8G,serial=00000001,speed=3200",
)
"""Records that the emulator makes from fields."""


def _record(kind: int, handle: int, fields: bytes, *strings: str) -> bytes:
    """A record as bytes: header, formatted area, strings (SMBIOS 3.7, 6.1.2 and 6.1.3)."""
    text = b"".join(string.encode("ascii") + b"\0" for string in strings) or b"\0"
    return struct.pack("<BBH", kind, 4 + len(fields), handle) + fields + text + b"\0"


_RECORDS = {
    # Chassis: type 10, notebook.
    3: _record(
        3,
        0x0300,
        struct.pack("<9BI5B", 1, 10, 2, 3, 0, 3, 3, 3, 3, 0, 0, 1, 0, 0, 4),
        "Fernhill",
        "Rev B",
        "CH-0001-DEMO",
        "L13",
    ),
    # Built-in pointing device: touch pad, two buttons.
    21: _record(21, 0x1500, bytes([7, 0x0B, 2])),
    # Portable battery.
    22: _record(
        22,
        0x1600,
        struct.pack("<6B2H2B2H2BI", 1, 2, 0, 3, 4, 2, 5004, 11400, 5, 2, 777, 0x5A61, 6, 10, 0),
        "Rear",
        "Fernhill Cells",
        "FB-0001-DEMO",
        "LB-4C50",
        "1.1",
        "LION",
    ),
}
"""Records that are given to the emulator as bytes."""
