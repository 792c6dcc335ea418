"""Reads a descriptor by a layout: a table of its fields, in order, by the standard's own names.

The tables are in the modules of the device classes. A field may repeat, or be
as long as an earlier field says. A descriptor too short for the fields that
its standard always has is not believed: its head alone is read, the rest kept
as it came, as ``usb_descriptors`` does. One that claims more elements than it
has room for gives those that are there, and what follows them is kept as it
came, since nothing says where it would start.
"""

from __future__ import annotations

from typing import Callable, Dict, List, Mapping, NamedTuple, Tuple, Union

from usbwatch.capture.decode.class_values import ClassDescriptor, Field, FieldValue
from usbwatch.capture.decode.defect import Defect

__all__ = ["HEAD", "SUBTYPED_HEAD", "Count", "Layout", "Part", "guid", "number", "numbers", "octets", "read", "to_end"]

Count = Union[int, str, Callable[[Mapping[str, int]], int]]
"""How many: always that many; as many as the field of that name says; or worked out from the earlier numbers."""

_TO_END = -1


class Part(NamedTuple):
    """One field of a layout."""

    name: str
    kind: str
    """``number``, ``numbers``, ``octets`` or ``guid``."""
    size: int
    """Bytes of one element."""
    elements: Count
    """How many; negative: all that is left but for that many bytes less one."""
    optional: bool
    """Whether some releases of the standard end before it."""


class Layout(NamedTuple):
    """The fields of one kind of descriptor, after its head."""

    name: str
    parts: Tuple[Part, ...]


def number(name: str, size: int = 1, *, optional: bool = False) -> Part:
    """A little-endian number of ``size`` bytes."""
    return Part(name, "number", size, 1, optional)


def numbers(name: str, size: int, count: Count) -> Part:
    """A list of little-endian numbers of ``size`` bytes each."""
    return Part(name, "numbers", size, count, False)


def octets(name: str, count: Count, *, optional: bool = False) -> Part:
    """Bytes without a meaning of their own here: bit maps, opaque data."""
    return Part(name, "octets", 1, count, optional)


def guid(name: str) -> Part:
    """16 bytes written as a GUID, its first three fields little-endian."""
    return Part(name, "guid", 16, 1, False)


def to_end(*, but: int = 0) -> int:
    """The count of a field that takes what is left, but for the last ``but`` bytes."""
    return _TO_END - but


HEAD = (number("bLength"), number("bDescriptorType"))
"""What every descriptor starts with."""
SUBTYPED_HEAD = (*HEAD, number("bDescriptorSubType"))
"""What the class-specific types 0x24 and 0x25 start with."""


class _Reading:
    """Takes one field after the other off a descriptor."""

    def __init__(self, data: bytes, offset: int) -> None:
        self.data = data
        self.offset = offset
        self.at = 0
        self.fields: List[Field] = []
        self.known: Dict[str, int] = {}

    def take(self, part: Part) -> str:
        """Read one field; what is wrong, as a phrase, when no field can be read after it."""
        left = len(self.data) - self.at
        length, problem = self.wanted(part) * part.size, ""
        if length > left:
            if part.optional and not left:
                return ""
            problem = f"{part.name} should have {length} bytes, there are {left}"
            if part.kind != "numbers":
                return problem
            length = left // part.size * part.size
        raw = self.data[self.at : self.at + length]
        value: FieldValue
        if part.kind == "number":
            value = self.known[part.name] = int.from_bytes(raw, "little")
        else:
            value = _value(part, raw)
        self.fields.append(Field(part.name, self.offset + self.at, length, value))
        self.at += length
        return problem

    def wanted(self, part: Part) -> int:
        """How many elements the descriptor claims, never below 0."""
        elements = part.elements
        if isinstance(elements, int):
            if elements > _TO_END:
                return elements
            return max(len(self.data) - self.at - (_TO_END - elements), 0) // part.size
        if isinstance(elements, str):
            return self.known[elements]
        return max(elements(self.known), 0)


def read(
    data: bytes, offset: int, layout: Layout | None, head: Tuple[Part, ...] = HEAD
) -> Tuple[ClassDescriptor, List[Defect]]:
    """A whole descriptor as its layout has it, and what is wrong with it. Raises nothing.

    ``data`` is the descriptor alone, ``offset`` its place in the block. Without
    a layout only the head is read.
    """
    reading = _Reading(data, offset)
    defects: List[Defect] = []
    parts = (*head, *layout.parts) if layout else head
    least = _least(parts)
    if len(data) < least:
        name = layout.name if layout else "class-specific"
        problem = f"{name} descriptor of {len(data)} bytes, the standard has at least {least}; kept as it came"
        defects.append(Defect(offset=offset, problem=problem))
        # Each field of a head is one byte.
        parts = tuple(part for index, part in enumerate(head) if index < len(data))
    for part in parts:
        at = reading.at
        problem = reading.take(part)
        if problem:
            defects.append(Defect(offset=offset + at, problem=problem))
            break
    return (
        ClassDescriptor(
            offset=offset,
            length=len(data),
            name=layout.name if layout else "",
            fields=tuple(reading.fields),
            rest=data[reading.at :].hex(),
        ),
        defects,
    )


def _least(parts: Tuple[Part, ...]) -> int:
    """Bytes of the fields that are always there."""
    return sum(
        part.size * part.elements
        for part in parts
        if isinstance(part.elements, int) and part.elements > 0 and not part.optional
    )


def _value(part: Part, raw: bytes) -> FieldValue:
    """The value of a field that is no single number."""
    if part.kind == "numbers":
        return tuple(
            int.from_bytes(raw[start : start + part.size], "little") for start in range(0, len(raw), part.size)
        )
    return _guid_text(raw) if part.kind == "guid" else raw.hex()


def _guid_text(raw: bytes) -> str:
    """``00000000-0000-0000-0000-000000000000``: the first three fields are little-endian numbers."""
    fields = (raw[3::-1], raw[5:3:-1], raw[7:5:-1], raw[8:10], raw[10:])
    return "-".join(field.hex() for field in fields)
