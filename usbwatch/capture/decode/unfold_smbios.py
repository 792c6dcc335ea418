"""An SMBIOS structure table, structure by structure (DMTF DSP0134 section 6.1).

Of the types that ``smbios_types`` reads, each field stands with its offset,
its value and what that means; bytes of no known field are kept as they came.
"""

from __future__ import annotations

from typing import Iterator, Tuple

from usbwatch.capture.decode import smbios
from usbwatch.capture.decode.class_values import FieldValue
from usbwatch.capture.decode.smbios_fields import fields_of, meaning_of
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
    rows += _formatted(structure, start + _HEADER_SIZE, strings, data)
    at = strings
    for number, raw in enumerate(_raw_strings(data[strings:end]), 1):
        rows.append(_field(f"string {number}", data, at, len(raw) + 1, structure.strings[number - 1]))
        at += len(raw) + 1
    if at < end:
        rows.append(_field("end of strings", data, at, end - at, ""))
    name = f"structure of type {structure.structure_type}"
    return Unfolded(offset=start, length=structure.length, name=name, rows=tuple(rows))


def _formatted(structure: smbios.Structure, at: int, end: int, data: bytes) -> Iterator[Row]:
    """The fields after the header, with the bytes between them; ``end`` is where the strings begin."""
    for field in fields_of(structure.structure_type, data[structure.offset : end]):
        start = structure.offset + field.offset
        if start > at:
            yield undecoded(at, data[:start])
        at = start + field.size
        raw = data[start:at]
        if field.kind == "uuid":
            yield Row(kind=FIELD, offset=start, length=field.size, name=field.name, hex=raw.hex(), value=raw.hex())
            continue
        value = int.from_bytes(raw, "little")
        meaning = meaning_of(field, value, structure.strings)
        yield Row(
            kind=FIELD, offset=start, length=field.size, name=field.name, hex=raw.hex(), value=value, meaning=meaning
        )
    if at < end:
        yield undecoded(at, data[:end])


def _raw_strings(area: bytes) -> Tuple[bytes, ...]:
    """The strings as they came; none when their part starts with its ending."""
    body = area.rstrip(b"\0")
    return tuple(body.split(b"\0")) if body else ()


def _field(name: str, data: bytes, offset: int, length: int, text: str | None = None) -> Row:
    raw = data[offset : offset + length]
    value: FieldValue = int.from_bytes(raw, "little") if text is None else text
    return Row(kind=FIELD, offset=offset, length=len(raw), name=name, hex=raw.hex(), value=value)
