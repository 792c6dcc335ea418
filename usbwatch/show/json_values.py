"""Values as JSON knows them: what all of the JSON documents are made of."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

__all__ = ["Json", "field_values", "json_text", "plain_value"]

Json: TypeAlias = "bool | int | float | str | list[Json] | dict[str, Json] | None"

_LEFT_OUT = frozenset({"raw"})
"""Fields that no document carries: bytes that stand in the capture already."""


def json_text(document: dict[str, Json]) -> str:
    """The document as indented ASCII text (RFC 8259), ended by a line feed."""
    import msgspec

    text = json.dumps(document, allow_nan=False)
    try:
        text = msgspec.json.format(text, indent=2)  # json's own indenting is written in Python: five times as long
    except msgspec.DecodeError:  # half a surrogate pair, which ``plain_value`` lets none through of
        text = json.dumps(document, indent=2, allow_nan=False)
    return text.replace("\x7f", "\\u007f") + "\n"


def plain_value(value: object) -> Json:
    """A model value as what JSON knows: enums by their word, lone surrogates as visible escapes."""
    if isinstance(value, str):
        return value if value.isascii() else value.encode("utf-8", "backslashreplace").decode("utf-8")
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, Enum):
        return plain_value(value.value)
    if isinstance(value, dict):
        return {str(plain_value(str(key))): plain_value(one) for key, one in value.items()}
    if is_dataclass(value):
        return field_values(value)
    if isinstance(value, list | tuple):
        return [plain_value(one) for one in value]
    raise TypeError(type(value).__name__)


def field_values(value: object, without: Sequence[str] = ()) -> dict[str, Json]:
    """The fields of a data class by name, without those that no reader needs."""
    assert is_dataclass(value)
    assert not isinstance(value, type)
    return {name: plain_value(getattr(value, name)) for name in _names(type(value)) if name not in without}


@cache
def _names(of: type[DataclassInstance]) -> tuple[str, ...]:
    return tuple(field.name for field in fields(of) if field.name not in _LEFT_OUT)
