"""An EDID, field by field: the base block by its layout; extension blocks are in ``unfold_edid_extension``.

Places as in the kernel's ``include/drm/drm_edid.h`` (``struct edid``); the
names are the standard's (VESA E-EDID release A, section 3), from memory.
"""

from __future__ import annotations

from typing import Callable, Dict, NamedTuple, Tuple

from usbwatch.capture.decode import edid
from usbwatch.capture.decode.class_values import FieldValue
from usbwatch.capture.decode.unfold_edid_extension import unfolded_extension
from usbwatch.capture.decode.unfolded import FIELD, Row, Unfolded, completed, undecoded

__all__ = ["unfolded_edid"]


class _Place(NamedTuple):
    """One field of the base block."""

    offset: int
    length: int
    name: str


_FIELDS = (
    _Place(0, 8, "Header"),
    _Place(8, 2, "ID Manufacturer Name"),
    _Place(10, 2, "ID Product Code"),
    _Place(12, 4, "ID Serial Number"),
    _Place(16, 1, "Week of Manufacture"),
    _Place(17, 1, "Year of Manufacture"),
    _Place(18, 1, "Version Number"),
    _Place(19, 1, "Revision Number"),
    _Place(20, 1, "Video Input Definition"),
    _Place(21, 1, "Horizontal Screen Size"),
    _Place(22, 1, "Vertical Screen Size"),
    _Place(23, 1, "Display Transfer Characteristic"),
    _Place(24, 1, "Feature Support"),
    _Place(25, 10, "Color Characteristics"),
    _Place(35, 3, "Established Timings"),
    *(_Place(38 + 2 * index, 2, f"Standard Timing {index + 1}") for index in range(8)),
    *(_Place(54 + 18 * index, 18, f"Descriptor {index + 1}") for index in range(4)),
    _Place(126, 1, "Extension Flag"),
    _Place(127, 1, "Checksum"),
)
_NUMBERS = frozenset({10, 12, 16, 17, 18, 19, 21, 22, 126, 127})
"""Offsets of the fields that are little-endian numbers; the others are bits."""

_TAGS = {0xFF: "serial number", 0xFE: "text", 0xFD: "range limits", 0xFC: "product name", 0x10: "not used"}
"""Of 18-byte descriptors that are no timing: EDID_DETAIL_* in drm_edid.h; 0x10 from memory."""
_TEXTS = (0xFF, 0xFE, 0xFC)


def unfolded_edid(data: bytes) -> Tuple[Unfolded, ...]:
    """What sysfs ``edid`` holds, block by block. Raises nothing."""
    decoded = edid.decode(data)
    pieces = [_base(data[: edid.BLOCK], decoded)] if data else []
    pieces += [unfolded_extension(data, start) for start in range(edid.BLOCK, len(data), edid.BLOCK)]
    return completed(data, pieces, decoded.defects)


def _base(block: bytes, decoded: edid.Edid) -> Unfolded:
    whole = [place for place in _FIELDS if place.offset + place.length <= len(block)]
    rows = [_row(block, place, decoded) for place in whole]
    end = whole[-1].offset + whole[-1].length if whole else 0
    if end < len(block):
        rows.append(undecoded(end, block))
    return Unfolded(offset=0, length=len(block), name="EDID base block", rows=tuple(rows))


def _row(block: bytes, place: _Place, decoded: edid.Edid) -> Row:
    raw = block[place.offset : place.offset + place.length]
    value: FieldValue = int.from_bytes(raw, "little") if place.offset in _NUMBERS else raw.hex()
    words = _DESCRIBED.get(place.offset, _descriptor_words if place.length == _DESCRIPTOR else _nothing)
    return Row(
        kind=FIELD,
        offset=place.offset,
        length=place.length,
        name=place.name,
        hex=raw.hex(),
        value=value,
        meaning=words(raw, decoded),
    )


_DESCRIPTOR = 18
_Words = Callable[[bytes, edid.Edid], str]


def _nothing(_raw: bytes, _decoded: edid.Edid) -> str:
    return ""


def _year(_raw: bytes, decoded: edid.Edid) -> str:
    return f"{decoded.year}, of the model" if decoded.model_year else str(decoded.year)


def _size(_raw: bytes, decoded: edid.Edid) -> str:
    return "not given, or an aspect ratio" if decoded.width_cm is None else "cm"


_DESCRIBED: Dict[int, _Words] = {
    8: lambda _raw, decoded: decoded.maker,
    10: lambda _raw, decoded: decoded.identity,
    12: lambda _raw, decoded: "" if decoded.serial_number else "none given",
    16: lambda raw, _decoded: "the year is the model's" if raw == b"\xff" else "",
    17: _year,
    21: _size,
    22: _size,
    23: lambda raw, _decoded: f"gamma {(raw[0] + 100) / 100:.2f}" if raw != b"\xff" else "gamma elsewhere",
    127: lambda _raw, decoded: "adds up" if decoded.checksum_good else "does not add up",
}
"""By offset. Gamma: (value + 100) / 100 (E-EDID section 3.6.3, from memory)."""


def _descriptor_words(raw: bytes, _decoded: edid.Edid) -> str:
    if raw[0] or raw[1]:
        return edid.timing_words(raw)
    words = _TAGS.get(raw[3], f"tag {raw[3]:02x}")
    return f"{words}: {edid.text(raw[5:])}" if raw[3] in _TEXTS else words
