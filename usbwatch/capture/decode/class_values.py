"""What class-specific descriptors and device capabilities hold, field by field.

A field keeps the name that its standard gives it (``wTerminalType``), so that
a table of layouts reads like the standard's own and can be compared with it.
Fields and rest of a descriptor together are its bytes, each once. Both are
named tuples, which are made fastest: a unit has hundreds of fields.
"""

from __future__ import annotations

from typing import NamedTuple, Tuple, Union

__all__ = ["ClassDescriptor", "Field", "FieldValue"]

FieldValue = Union[int, str, Tuple[int, ...]]
"""A little-endian number; octets or a GUID as text; a list of numbers."""


class Field(NamedTuple):
    """One field of a descriptor."""

    name: str
    """As the standard writes it."""
    offset: int
    """From the start of the whole block, not of the descriptor."""
    length: int
    value: FieldValue


class ClassDescriptor(NamedTuple):
    """A descriptor of a layout that its class, or its capability type, defines."""

    offset: int
    length: int
    name: str
    """What it is, ``camera terminal``; "" when no layout is known, and then only its head is in ``fields``."""
    fields: Tuple[Field, ...]
    """In the order of the bytes, from bLength on."""
    rest: str = ""
    """The bytes after the last field, as lower-case hex."""

    def number(self, name: str) -> int | None:
        """The number in that field, None when there is no such field or it holds no single number."""
        value = self._value(name)
        return value if isinstance(value, int) else None

    def numbers(self, name: str) -> Tuple[int, ...]:
        """The list of numbers in that field, empty when there is none."""
        value = self._value(name)
        return value if isinstance(value, tuple) else ()

    def text(self, name: str) -> str:
        """The octets (hex) or the GUID in that field, "" when there is none."""
        value = self._value(name)
        return value if isinstance(value, str) else ""

    def _value(self, name: str) -> FieldValue | None:
        return next((field.value for field in self.fields if field.name == name), None)
