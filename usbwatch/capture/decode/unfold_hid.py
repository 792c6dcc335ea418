"""A HID report descriptor, item by item.

Items, their names and flags: HID 1.11 section 6.2.2 (numbers from memory).
Names of pages and usages: HID Usage Tables, only of what laptops carry; held
in the tests against the list ``usb.ids``.
"""

from __future__ import annotations

from typing import Callable, Dict, Iterator, List, NamedTuple, Tuple

from usbwatch.capture.decode import hid_report
from usbwatch.capture.decode.unfolded import FIELD, Row, Unfolded, completed, undecoded

__all__ = ["ITEMS", "PAGES", "USAGES", "unfolded_report"]

_MAIN, _GLOBAL, _LOCAL = range(3)
_LONG_TAG = 15

ITEMS: Dict[Tuple[int, int], str] = {
    (_MAIN, 8): "Input",
    (_MAIN, 9): "Output",
    (_MAIN, 10): "Collection",
    (_MAIN, 11): "Feature",
    (_MAIN, 12): "End Collection",
    (_GLOBAL, 0): "Usage Page",
    (_GLOBAL, 1): "Logical Minimum",
    (_GLOBAL, 2): "Logical Maximum",
    (_GLOBAL, 3): "Physical Minimum",
    (_GLOBAL, 4): "Physical Maximum",
    (_GLOBAL, 5): "Unit Exponent",
    (_GLOBAL, 6): "Unit",
    (_GLOBAL, 7): "Report Size",
    (_GLOBAL, 8): "Report ID",
    (_GLOBAL, 9): "Report Count",
    (_GLOBAL, 10): "Push",
    (_GLOBAL, 11): "Pop",
    (_LOCAL, 0): "Usage",
    (_LOCAL, 1): "Usage Minimum",
    (_LOCAL, 2): "Usage Maximum",
    (_LOCAL, 3): "Designator Index",
    (_LOCAL, 4): "Designator Minimum",
    (_LOCAL, 5): "Designator Maximum",
    (_LOCAL, 7): "String Index",
    (_LOCAL, 8): "String Minimum",
    (_LOCAL, 9): "String Maximum",
    (_LOCAL, 10): "Delimiter",
}
"""By type and tag, sections 6.2.2.4, 6.2.2.7 and 6.2.2.8."""

_SIGNED = ("Logical Minimum", "Logical Maximum", "Physical Minimum", "Physical Maximum")
_FIELDS = ("Input", "Output", "Feature")
_USAGES = ("Usage", "Usage Minimum", "Usage Maximum")
_COLLECTIONS = ("physical", "application", "logical", "report", "named array", "usage switch", "usage modifier")
_FLAGS = (
    ("data", "constant"),
    ("array", "variable"),
    ("absolute", "relative"),
    ("", "wrap"),
    ("", "non-linear"),
    ("", "no preferred state"),
    ("", "null state"),
    ("", "volatile"),
    ("", "buffered bytes"),
)
"""Bits 0 to 8 of a main item, clear and set (section 6.2.2.5)."""

PAGES: Dict[int, str] = {
    0x01: "Generic Desktop Controls",
    0x05: "Game Controls",
    0x07: "Keyboard",
    0x08: "LEDs",
    0x09: "Buttons",
    0x0A: "Ordinal",
    0x0B: "Telephony",
    0x0C: "Consumer",
    0x0D: "Digitizer",
    0x0F: "PID Page",
    0x14: "Alphanumeric Display",
    0x20: "Sensor",
    0x84: "Power Device Page",
    0x85: "Battery System Page",
}
"""By usage page."""
_FIRST_VENDOR_PAGE = 0xFF00

USAGES: Dict[Tuple[int, int], str] = {
    (0x01, 0x01): "Pointer",
    (0x01, 0x02): "Mouse",
    (0x01, 0x04): "Joystick",
    (0x01, 0x05): "Gamepad",
    (0x01, 0x06): "Keyboard",
    (0x01, 0x07): "Keypad",
    (0x01, 0x30): "Direction-X",
    (0x01, 0x31): "Direction-Y",
    (0x01, 0x32): "Direction-Z",
    (0x01, 0x38): "Wheel",
    (0x01, 0x80): "System Control",
    (0x01, 0x81): "System Power Down",
    (0x01, 0x82): "System Sleep",
    (0x01, 0x83): "System Wake Up",
    (0x0C, 0x01): "Consumer Control",
    (0x0D, 0x01): "Digitizer",
    (0x0D, 0x02): "Pen",
    (0x0D, 0x04): "Touch Screen",
    (0x0D, 0x05): "Touch Pad",
    (0x0D, 0x20): "Stylus",
    (0x0D, 0x22): "Finger",
    (0x0D, 0x30): "Tip Pressure",
    (0x0D, 0x32): "In Range",
    (0x0D, 0x3C): "Invert",
    (0x0D, 0x42): "Tip Switch",
    (0x0D, 0x44): "Barrel Switch",
    (0x0D, 0x45): "Eraser",
}
"""By usage page and usage."""


class _Item(NamedTuple):
    """One short item."""

    offset: int
    length: int
    name: str
    value: int


def unfolded_report(data: bytes) -> Tuple[Unfolded, ...]:
    """What a ``report_descriptor`` holds: one descriptor whose rows are its items. Raises nothing."""
    block = data[: hid_report.LONGEST]
    rows: List[Row] = []
    page, depth, end = 0, 0, 0
    for item in _items(block):
        if item.name == "Usage Page":
            page = item.value
        depth = max(depth - (item.name == "End Collection"), 0)
        rows += _skipped(end, item.offset, block)
        rows.append(_row(block, item, page, depth))
        depth += item.name == "Collection"
        end = item.offset + item.length
    rows += _skipped(end, len(block), block)
    piece = Unfolded(offset=0, length=len(block), name="HID report descriptor", rows=tuple(rows))
    return completed(data, [piece] if block else [], hid_report.decode(data).defects)


def _skipped(start: int, end: int, block: bytes) -> List[Row]:
    """A row for bytes between items: a long item, or one that the end cuts off."""
    return [undecoded(start, block[:end])] if end > start else []


def _items(block: bytes) -> Iterator[_Item]:
    """The short items, as section 6.2.2.2 lays them out; long ones are stepped over."""
    offset = 0
    while offset < len(block):
        prefix = block[offset]
        long_item = prefix >> 4 == _LONG_TAG
        size = (0, 1, 2, 4)[prefix & 0x03]
        length = 3 + (block[offset + 1] if offset + 1 < len(block) else 0) if long_item else 1 + size
        if not long_item and offset + length <= len(block):
            kind, tag = prefix >> 2 & 0x03, prefix >> 4
            name = ITEMS.get((kind, tag), "")
            signed = name in _SIGNED
            value = int.from_bytes(block[offset + 1 : offset + length], "little", signed=signed)
            yield _Item(offset, length, name, value)
        offset += length


def _row(block: bytes, item: _Item, page: int, depth: int) -> Row:
    if not item.name:
        return undecoded(item.offset, block[: item.offset + item.length])
    return Row(
        kind=FIELD,
        offset=item.offset,
        length=item.length,
        name=item.name,
        hex=block[item.offset : item.offset + item.length].hex(),
        value=item.value,
        meaning=_meaning(item, page, depth),
    )


def _meaning(item: _Item, page: int, depth: int) -> str:
    if item.name in _FIELDS:
        return _flags(item.value)
    if item.name in _USAGES:
        # Four bytes carry their page (section 6.2.2.8).
        whole = (item.value >> 16, item.value & 0xFFFF) if item.length > 3 else (page, item.value)  # noqa: PLR2004
        return USAGES.get(whole, "")
    words = _WORDS.get(item.name)
    return words(item.value, depth) if words else ""


def _flags(value: int) -> str:
    return ", ".join(word for bit, pair in enumerate(_FLAGS) if (word := pair[value >> bit & 1]))


def _page(value: int, _depth: int) -> str:
    return PAGES.get(value, "the vendor's own" if value >= _FIRST_VENDOR_PAGE else "")


def _collection(value: int, depth: int) -> str:
    kind = _COLLECTIONS[value] if value < len(_COLLECTIONS) else ""
    return ", ".join(filter(None, (kind, f"inside {depth}" if depth else "")))


_WORDS: Dict[str, Callable[[int, int], str]] = {
    "Collection": _collection,
    "End Collection": lambda _value, depth: f"still inside {depth}" if depth else "",
    "Report Count": lambda value, _depth: "1 field" if value == 1 else f"{value} fields",
    "Report Size": lambda value, _depth: "1 bit each" if value == 1 else f"{value} bits each",
    "Usage Page": _page,
}
