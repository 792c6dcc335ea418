"""An SMBIOS structure table, structure by structure (DMTF DSP0134 section 6.1).

The header's fields are named; the rest of the formatted area is kept as it
came, since what is compared is in ``smbios``, and the strings are read.
"""

from __future__ import annotations

from typing import Tuple

from usbwatch.capture.decode import smbios
from usbwatch.capture.decode.class_values import FieldValue
from usbwatch.capture.decode.unfolded import FIELD, Row, Unfolded, completed, undecoded

__all__ = ["unfolded_smbios"]

_HEADER = (("Type", 0, 1), ("Length", 1, 1), ("Handle", 2, 2))
_HEADER_SIZE = 4


def unfolded_smbios(data: bytes) -> Tuple[Unfolded, ...]:
    """What a raw structure table holds, structure by structure. Raises nothing."""
    decoded = smbios.decode(data)
    pieces = [_piece(structure, data) for structure in decoded.structures]
    return completed(data, pieces, decoded.defects)


def _piece(structure: smbios.Structure, data: bytes) -> Unfolded:
    start, end = structure.offset, structure.offset + structure.length
    strings = start + len(structure.formatted) // 2
    rows = [_field(name, data, start + at, size) for name, at, size in _HEADER]
    if strings > start + _HEADER_SIZE:
        rows.append(undecoded(start + _HEADER_SIZE, data[:strings]))
    at = strings
    for number, raw in enumerate(_raw_strings(data[strings:end]), 1):
        rows.append(_field(f"string {number}", data, at, len(raw) + 1, structure.strings[number - 1]))
        at += len(raw) + 1
    if at < end:
        rows.append(_field("end of strings", data, at, end - at, ""))
    name = f"structure of type {structure.structure_type}"
    return Unfolded(offset=start, length=structure.length, name=name, rows=tuple(rows))


def _raw_strings(area: bytes) -> Tuple[bytes, ...]:
    """The strings as they came; none when their part starts with its ending."""
    body = area.rstrip(b"\0")
    return tuple(body.split(b"\0")) if body else ()


def _field(name: str, data: bytes, offset: int, length: int, text: str | None = None) -> Row:
    raw = data[offset : offset + length]
    value: FieldValue = int.from_bytes(raw, "little") if text is None else text
    return Row(kind=FIELD, offset=offset, length=len(raw), name=name, hex=raw.hex(), value=value)
