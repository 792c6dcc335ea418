"""What a block of raw bytes comes to, row by row: the values that ``unfold`` gives.

Rows and pieces are for reading and for keeping beside the bytes; a comparison
uses the decoders themselves.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from typing import Callable, Dict, Iterable, List, Sequence, Tuple

from usbwatch.capture.decode.class_values import ClassDescriptor, FieldValue
from usbwatch.capture.decode.defect import Defect

__all__ = ["DEFECT", "FIELD", "UNDECODED", "Meaning", "Row", "Unfolded", "completed", "rows_of", "undecoded"]

FIELD = "field"
UNDECODED = "undecoded"
DEFECT = "defect"

Meaning = Callable[[str, str, FieldValue], str]
"""What a value means, by the descriptor's name, the field's name and the value; "" where no table knows it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A field, bytes that were not decoded, or what is wrong at a place."""

    kind: str
    """``field``, ``undecoded`` or ``defect``."""
    offset: int
    """From the start of the block."""
    length: int
    """Bytes; 0 for a defect, whose bytes are in other rows."""
    name: str
    """As the standard writes it; "" for what is no field."""
    hex: str
    """The bytes."""
    value: FieldValue
    """A number, a list of numbers, or text; what is wrong, for a defect; "" for what was not decoded."""
    meaning: str = ""
    """What the value stands for, "" where no table knows it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfolded:
    """One descriptor of a block. Its fields and undecoded bytes together are its bytes, each once."""

    offset: int
    length: int
    name: str
    """What it is; "" for bytes in which no descriptor could be told."""
    rows: Tuple[Row, ...]


def rows_of(descriptor: ClassDescriptor, data: bytes, meaning: Meaning) -> Tuple[Row, ...]:
    """The rows of a decoded descriptor; ``data`` is the whole block."""
    rows = [
        Row(
            kind=FIELD,
            offset=field.offset,
            length=field.length,
            name=field.name,
            hex=data[field.offset : field.offset + field.length].hex(),
            value=field.value,
            meaning=meaning(descriptor.name, field.name, field.value),
        )
        for field in descriptor.fields
        if field.length  # a list for which there was no byte has no row
    ]
    left, end = len(descriptor.rest) // 2, descriptor.offset + descriptor.length
    if left:
        rows.append(undecoded(end - left, data[end - left : end], end - left))
    return tuple(rows)


def undecoded(offset: int, data: bytes, begins: int = 0) -> Row:
    """The bytes from ``offset`` on, as they came; ``data`` is the block from its offset ``begins`` on."""
    rest = data[offset - begins :]
    return Row(kind=UNDECODED, offset=offset, length=len(rest), name="", hex=rest.hex(), value="")


def completed(data: bytes, pieces: Iterable[Unfolded], defects: Sequence[Defect]) -> Tuple[Unfolded, ...]:
    """The pieces by offset, with the bytes that none of them holds, and each defect as a row where it is."""
    whole = _without_gaps(data, sorted(pieces, key=lambda piece: piece.offset))
    starts = [piece.offset for piece in whole]
    found: Dict[int, List[Row]] = {}
    for defect in defects:
        row = Row(kind=DEFECT, offset=defect.offset, length=0, name="", hex="", value=defect.problem)
        found.setdefault(max(bisect_right(starts, defect.offset) - 1, 0), []).append(row)
    return tuple(_with_defects(piece, found.get(index, [])) for index, piece in enumerate(whole))


def _without_gaps(data: bytes, pieces: List[Unfolded]) -> List[Unfolded]:
    whole: List[Unfolded] = []
    at = 0
    for piece in pieces:
        if piece.offset > at:
            whole.append(_unknown(at, data[at : piece.offset]))
        whole.append(piece)
        at = piece.offset + piece.length
    if at < len(data) or not whole:
        whole.append(_unknown(at, data[at:]))
    return whole


def _unknown(offset: int, rest: bytes) -> Unfolded:
    rows = (undecoded(offset, rest, offset),) if rest else ()
    return Unfolded(offset=offset, length=len(rest), name="", rows=rows)


def _with_defects(piece: Unfolded, defects: List[Row]) -> Unfolded:
    """A defect stands after the row whose bytes it is about."""
    if not defects:
        return piece
    return replace(piece, rows=tuple(sorted((*piece.rows, *defects), key=lambda row: (row.offset, row.kind == DEFECT))))
