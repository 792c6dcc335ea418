"""What the firmware says the machine is made of: the SMBIOS structure table.

sysfs has the table as ``/sys/firmware/dmi/tables/DMI`` and each structure as
``/sys/firmware/dmi/entries/TYPE-INSTANCE/raw``. The firmware writes it at
boot, often from a template: use it for what was designed, never for presence.

Source: DMTF DSP0134, sections 6.1 (structures and strings) and 7. The layouts
of types 21 and 22 were read in ``SmBios.h`` of EDK II (MdePkg), the places of
capacity and multiplier also in ``find_battery`` of the kernel's ACPI battery
driver. The offsets of types 0, 1, 2 and 3 are held against what a kernel
exports from the same bytes, but for the chassis SKU, which none exports.
[from memory] all others (types 8, 9, 17 and 41) and the section numbers.
"""

from __future__ import annotations

from typing import Any, Callable, Dict, List, NamedTuple, Tuple

from usbwatch.capture.decode import smbios_types
from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.smbios_types import Fields
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
    Smbios,
    Structure,
    System,
)

__all__ = [
    "LONGEST",
    "MOST",
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
    "decode",
    "decode_entry",
]

LONGEST = 1 << 20
"""Bytes of a table that are read at most."""
MOST = 4096
"""Structures that are read at most."""

_HEADER = 4
"""Type, length and handle."""
_END_OF_TABLE = 127
_STRINGS_END = b"\0\0"


class _Taker(NamedTuple):
    """Where a type goes, and how it is read."""

    home: str
    """A field of ``Smbios``."""
    read: Callable[[Fields], object]


_TAKERS: Dict[int, _Taker] = {
    0: _Taker("firmware", smbios_types.firmware),
    1: _Taker("systems", smbios_types.system),
    2: _Taker("baseboards", smbios_types.baseboard),
    3: _Taker("enclosures", smbios_types.enclosure),
    8: _Taker("port_connectors", smbios_types.port_connector),
    9: _Taker("slots", smbios_types.slot),
    17: _Taker("memory_devices", smbios_types.memory_device),
    21: _Taker("pointing_devices", smbios_types.pointing_device),
    22: _Taker("portable_batteries", smbios_types.portable_battery),
    41: _Taker("onboard_devices", smbios_types.onboard_device),
}


class _Walk:
    """Takes one structure after the other."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.offset = 0
        self.structures: List[Structure] = []
        self.decoded: Dict[str, List[Any]] = {taker.home: [] for taker in _TAKERS.values()}
        self.defects: List[Defect] = []
        self.ended = False
        """Whether the end-of-table structure was met."""

    def step(self) -> bool:
        """Read the structure at the offset; False when nothing after it can be read."""
        problem = self.dead_end()
        if problem:
            self.give_up(problem)
            return False
        start, length = self.offset, self.data[self.offset + 1]
        found = self.data.find(_STRINGS_END, start + length)
        end = found + len(_STRINGS_END) if found >= 0 else len(self.data)
        if found < 0:
            self.defects.append(Defect(offset=start + length, problem="the strings are not ended by two zero bytes"))
        strings = _strings(self.data[start + length : end])
        structure = Structure(
            offset=start,
            length=end - start,
            structure_type=self.data[start],
            handle=int.from_bytes(self.data[start + 2 : start + 4], "little"),
            formatted=self.data[start : start + length].hex(),
            strings=strings,
        )
        self.structures.append(structure)
        self.offset = end
        self.take(structure)
        return structure.structure_type != _END_OF_TABLE

    def dead_end(self) -> str:
        left = len(self.data) - self.offset
        if left < _HEADER:
            return f"{left} bytes, too few for a structure"
        length = self.data[self.offset + 1]
        if length < _HEADER:
            return f"a structure of {length} bytes, below the {_HEADER} of its header; what follows was not read"
        if length > left:
            return f"a structure of {length} bytes, but only {left} of them are there"
        if len(self.structures) == MOST:
            return f"more than {MOST} structures; the rest was not read"
        return ""

    def give_up(self, problem: str) -> None:
        self.defects.append(Defect(offset=self.offset, problem=problem, length=len(self.data) - self.offset))
        self.offset = len(self.data)

    def take(self, structure: Structure) -> None:
        """Decode a structure of a known type."""
        self.ended = self.ended or structure.structure_type == _END_OF_TABLE
        taker = _TAKERS.get(structure.structure_type)
        if taker:
            fields = Fields(structure)
            self.decoded[taker.home].append(taker.read(fields))
            self.defects.extend(fields.defects)

    def finished(self, padding: int) -> Smbios:
        decoded = {home: tuple(values) for home, values in self.decoded.items()}
        defects = tuple(sorted(self.defects, key=lambda defect: defect.offset))
        return Smbios(
            structures=tuple(self.structures),
            padding=padding,
            defects=defects,
            **decoded,
        )


def decode(table: bytes) -> Smbios:
    """What the structure table says, and what is wrong with it. Raises nothing.

    Every byte belongs to one structure, to one defect that has a length, or to
    the padding. Structures are stepped by their length and the end of their
    strings, up to the end-of-table structure (type 127).
    """
    walk = _Walk(table[:LONGEST])
    while walk.offset < len(walk.data) and walk.step():
        pass
    padding = 0
    rest = walk.data[walk.offset :]
    if walk.ended and not rest.strip(b"\0"):
        padding = len(rest)
    elif rest:
        walk.give_up(f"{len(rest)} bytes after the end-of-table structure")
    if len(table) > LONGEST:
        problem = f"longer than {LONGEST} bytes; the rest was not read"
        walk.defects.append(Defect(offset=LONGEST, problem=problem, length=len(table) - LONGEST))
    if not walk.ended:
        walk.defects.append(Defect(offset=len(walk.data), problem="no end-of-table structure"))
    return walk.finished(padding)


def decode_entry(raw: bytes) -> Smbios:
    """What one structure says, from an ``entries/TYPE-INSTANCE/raw``. Raises nothing.

    Offsets are from the start of the entry; every byte belongs to the structure or to a defect that has a length.
    """
    walk = _Walk(raw[:LONGEST])
    walk.step()
    if walk.offset < len(raw):
        left = len(raw) - walk.offset
        walk.defects.append(Defect(offset=walk.offset, problem=f"{left} bytes after the structure", length=left))
    return walk.finished(padding=0)


def _strings(raw: bytes) -> Tuple[str, ...]:
    """The strings of a structure; none when their part starts with its ending."""
    body = raw.rstrip(b"\0")
    return tuple(_printable(one) for one in body.split(b"\0")) if body else ()


def _printable(raw: bytes) -> str:
    text = raw.decode("utf-8", "backslashreplace")
    if text.isprintable():
        return text
    return "".join(one if one.isprintable() else _escaped(one) for one in text)


def _escaped(character: str) -> str:
    code = ord(character)
    return f"\\x{code:02x}" if code <= 0xFF else f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"  # noqa: PLR2004
