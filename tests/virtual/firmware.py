"""Firmware of an invented laptop: an ACPI table and SMBIOS records.

The table declares battery, mains adapter, lid, power button, and what each
USB port is wired to (ACPI 6.5: 6.1.8 _PLD, 9.14 _UPC, 10.2.2 control method
batteries). The records are those of SMBIOS 3.7: 7.1 to 7.5, 7.18, 7.22, 7.23.
"""

from __future__ import annotations

import struct
import subprocess
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

__all__ = [
    "HUSHED",
    "MUTE",
    "MUTE_PORT",
    "PULLED",
    "Battery",
    "Firmware",
    "Gauge",
    "Ports",
    "Wired",
    "firmware_arguments",
]

Gauge = Literal["talks", "silent", "no pack"]
"""What the battery's gauge does. A silent one leaves every figure at the standard's "unknown"; without a pack the
slot is empty (ACPI 6.5, 6.3.7: bit 4 of _STA)."""

Wired = Literal["left", "right", "internal", "unused"]
"""Where a USB port leads: to a socket on that side, to a part inside, or nowhere."""

MUTE_PORT = 0x3FF
"""The scratch register of the serial port (16550 UART, register 7), which nothing else uses: what stands in it happens
to the pack while the system runs."""
MUTE = 0x5A
"""The gauge's status is "unknown": it falls silent, and firmware does not notice."""
PULLED = 0x50
"""The pack is taken out, which firmware tells as soon as it is asked of adapter or pack."""
HUSHED = 0x53
"""The pack that is in has a gauge that leaves every figure at "unknown"; firmware tells of the change."""

_PANEL = {"left": 2, "right": 3, "internal": 6, "unused": 6}
_UNKNOWN = 0xFFFFFFFF


@dataclass(frozen=True, slots=True, kw_only=True)
class Ports:
    """The ports of one USB controller, as the table declares them."""

    path: str
    """The controller's own object, which the emulator's table names after its PCI slot and function."""
    wired: Mapping[int, Wired]
    super_speed: int
    """How many of the first ports also have a SuperSpeed half."""
    behind: Mapping[int, int] = field(default_factory=dict)
    """By port that carries an internal hub, how many ports the hub has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """The pack, and what firmware calls it."""

    object_name: str
    model: str
    serial: str
    maker: str
    design_mah: int
    full_mah: int
    design_mv: int
    cycles: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Firmware:
    """What the firmware of a model says."""

    oem: str
    """OEM id of the table, at most six characters."""
    model: str
    """OEM id of the model, at most eight characters."""
    adapter: str
    """The mains adapter's object."""
    battery: Battery
    ports: tuple[Ports, ...]
    fields: tuple[str, ...]
    """SMBIOS records that the emulator makes from fields."""
    chassis: tuple[str, str, str, str]
    """Maker, version, serial number and kind of the notebook's chassis."""


def firmware_arguments(firmware: Firmware, folder: Path, gauge: Gauge) -> list[str]:
    """The emulator's arguments for this firmware; its files are made in ``folder``."""
    source = folder / "laptop.asl"
    source.write_text("\n".join(_table(firmware, gauge)), "ascii")
    compiled = subprocess.run(["iasl", "-vs", "-p", folder / "laptop", source], capture_output=True, check=False)
    if compiled.returncode:
        raise RuntimeError(compiled.stdout.decode(errors="replace") + compiled.stderr.decode(errors="replace"))
    arguments = ["-acpitable", f"file={folder / 'laptop.aml'}"]
    for strings in firmware.fields:
        arguments += ["-smbios", strings]
    for kind, record in _records(firmware).items():
        path = folder / f"smbios-{kind}"
        path.write_bytes(record)
        arguments += ["-smbios", f"file={path}"]
    return arguments


def _table(firmware: Firmware, gauge: Gauge) -> Iterator[str]:
    """Lines of the table in ASL."""
    yield f'DefinitionBlock ("", "SSDT", 2, "{firmware.oem}", "{firmware.model}", 1) {{'
    for ports in firmware.ports:
        yield f"External ({ports.path}, DeviceObj)"
    yield "Scope (\\_SB) {"
    yield from _register(firmware.battery)
    yield f'Device ({firmware.adapter}) {{ Name (_HID, "ACPI0003") Name (_PCL, Package () {{ \\_SB }})'
    yield "  Method (_STA) { Return (0x0F) } Method (_PSR) { TOLD () Return (1) } }"
    yield 'Device (LID0) { Name (_HID, EisaId ("PNP0C0D"))'
    yield "  Method (_STA) { Return (0x0F) } Method (_LID) { Return (1) } }"
    yield 'Device (PWRB) { Name (_HID, EisaId ("PNP0C0C")) Method (_STA) { Return (0x0F) } }'
    yield from _battery(firmware.battery, gauge)
    yield "}"
    for ports in firmware.ports:
        yield f"Scope ({ports.path}) {{ Device (RHUB) {{ Name (_ADR, 0)"
        for port in ports.wired:
            yield from _port(ports, port)
        yield "} }"
    yield "}"


def _battery(battery: Battery, gauge: Gauge) -> Iterator[str]:
    # _BIX revision 0: power unit mA, design and full capacity in mAh, technology, design voltage in mV, warning and
    # low levels, cycle count, accuracy, sampling times, averaging intervals, granularities.
    sizes = (battery.design_mah, battery.full_mah, 1, battery.design_mv, battery.design_mah // 20, 110)
    information = (0, 1, *sizes, battery.cycles, 95000, 0, 0, 1000, 500, 10, 10)
    # _BST: charging, rate in mA, remaining capacity in mAh, voltage in mV.
    status = (2, 860, battery.full_mah * 62 // 100, battery.design_mv + 512)
    no_information = (0, 1, *(_UNKNOWN,) * 4, 0, 0, *(_UNKNOWN,) * 3, *(0,) * 5)
    no_status = (0, _UNKNOWN, _UNKNOWN, _UNKNOWN)
    silent = f"LOr (LEqual (HUSH, {HUSHED:#x}), LEqual ({int(gauge == 'silent')}, 1))"
    gone = f"LOr (LEqual (HUSH, {PULLED:#x}), LEqual ({int(gauge == 'no pack')}, 1))"
    yield f'Device ({battery.object_name}) {{ Name (_HID, EisaId ("PNP0C0A")) Name (_UID, 1)'
    yield "  Name (_PCL, Package () { \\_SB })"
    yield f"  Method (_STA) {{ If ({gone}) {{ Return (0x0F) }} Return (0x1F) }}"
    yield f"  Method (_BIX) {{ If ({silent}) {{ Return ({_package(no_information, ('',) * 4)}) }}"
    names = (battery.model, battery.serial, "LION", battery.maker)
    yield f"    Return ({_package(information, names)}) }}"
    yield f"  Method (_BST) {{ TOLD () If (LOr ({silent}, LEqual (HUSH, {MUTE:#x}))) {{"
    yield f"    Return ({_package(no_status)}) }} Return ({_package(status)}) }} }}"


def _register(battery: Battery) -> Iterator[str]:
    """The register, and what tells the system that it holds another order (ACPI 6.5, 5.6.6: 0x81, information)."""
    yield f"OperationRegion (SCR, SystemIO, {MUTE_PORT:#x}, 1) Field (SCR, ByteAcc, NoLock, Preserve) {{ HUSH, 8 }}"
    yield "Name (HELD, 0) Method (TOLD, 0, Serialized) {"
    orders = (f"LEqual (HUSH, {order:#x})" for order in (0, PULLED, HUSHED))
    yield f"  If (LAnd (LNotEqual (HUSH, HELD), LOr ({next(orders)}, LOr ({next(orders)}, {next(orders)})))) {{"
    yield f"    Store (HUSH, HELD) Notify (\\_SB.{battery.object_name}, 0x81) }} }}"


def _package(figures: tuple[int, ...], words: tuple[str, ...] = ()) -> str:
    return f"Package () {{ {', '.join([*map(hex, figures), *map(_literal, words)])} }}"


def _literal(text: str) -> str:
    r"""A string of ASL, in which ``\xHH`` is the one escape that is needed (ACPI 6.5, 19.2.4)."""
    return '"' + "".join(one if one.isalnum() or one in " .-_" else f"\\x{ord(one):02X}" for one in text) + '"'


def _port(ports: Ports, port: int) -> Iterator[str]:
    """A root port with both of its halves, and the ports of the internal hub that it may carry."""
    wired_to = ports.wired[port]
    # _ADR is the controller's raw number, and this controller numbers its SuperSpeed ports first.
    yield f"Device (HS{port:02d}) {{ Name (_ADR, {port + ports.super_speed}) {_wiring(wired_to, port)}"
    for below in range(1, ports.behind.get(port, 0) + 1):
        yield f"  Device (HP{below:02d}) {{ Name (_ADR, {below}) {_wiring('internal', 0x10 + below)} }}"
    yield "}"
    if port <= ports.super_speed:
        yield f"Device (SS{port:02d}) {{ Name (_ADR, {port}) {_wiring(wired_to, port)} }}"


def _wiring(wired_to: Wired, position: int) -> str:
    """_UPC (connectable, connector type) and _PLD (where) of a port."""
    connectable = 0 if wired_to == "unused" else 0xFF
    connector = 0x00 if wired_to in ("left", "right") else 0xFF  # type A; proprietary
    visible = int(wired_to in ("left", "right"))
    # Revision 2, colour ignored; user visible, panel, vertical and horizontal position, shape, group position.
    place = 2 | 1 << 7 | visible << 64 | _PANEL[wired_to] << 67 | 1 << 70 | 1 << 72 | 1 << 74 | position << 87
    figures = ", ".join(f"0x{byte:02X}" for byte in place.to_bytes(20, "little"))
    capabilities = f"Name (_UPC, Package () {{ 0x{connectable:02X}, 0x{connector:02X}, 0, 0 }})"
    return f"{capabilities} Name (_PLD, Package () {{ Buffer () {{ {figures} }} }})"


def _record(kind: int, handle: int, fields: bytes, *strings: str) -> bytes:
    """A record as bytes: header, formatted area, strings (SMBIOS 3.7, 6.1.2 and 6.1.3)."""
    text = b"".join(string.encode("ascii") + b"\0" for string in strings) or b"\0"
    return struct.pack("<BBH", kind, 4 + len(fields), handle) + fields + text + b"\0"


def _records(firmware: Firmware) -> dict[int, bytes]:
    """Records that are given to the emulator as bytes, by type."""
    battery = firmware.battery
    design = (battery.design_mah * battery.design_mv // 10_000, battery.design_mv)
    pack = (1, 2, 0, 3, 4, 2, *design, 5, 2, 777, 0x5A61, 6, 10, 0)
    words = ("Rear", battery.maker, battery.serial, battery.model, "1.1", "LION")
    return {
        # Chassis: type 10, notebook.
        3: _record(3, 0x0300, struct.pack("<9BI5B", 1, 10, 2, 3, 0, 3, 3, 3, 3, 0, 0, 1, 0, 0, 4), *firmware.chassis),
        # Built-in pointing device: touch pad, two buttons.
        21: _record(21, 0x1500, bytes([7, 0x0B, 2])),
        # Portable battery; its design capacity in units of 10 mWh, by the multiplier of 10.
        22: _record(22, 0x1600, struct.pack("<6B2H2B2H2BI", *pack), *words),
    }
