"""The shape and the rest of usbwatch use the same words."""

from __future__ import annotations

import typing
from dataclasses import fields

import msgspec

from usbwatch.model import FUNCTIONS, Rung, UnitStrings
from usbwatch.profile import shape


def test_the_words_for_functions_are_those_of_a_capture() -> None:
    """The vocabulary stands once; what is checked is that the shape, and so the schema, takes exactly it."""
    assert typing.get_args(typing.get_type_hints(shape.DeviceTable)["function"]) == FUNCTIONS
    assert list(FUNCTIONS) == sorted(set(FUNCTIONS))


def test_the_words_for_reaches_are_the_rungs_in_order() -> None:
    assert typing.get_args(shape.Reach) == tuple(rung.value for rung in Rung)


def test_match_has_every_string_of_a_unit_but_its_serial_number() -> None:
    assert shape.MatchTable.__struct_fields__ == tuple(
        field.name for field in fields(UnitStrings) if field.name != "product_serial"
    )


def test_every_table_refuses_unknown_keys() -> None:
    tables = [value for value in vars(shape).values() if isinstance(value, type) and issubclass(value, msgspec.Struct)]
    assert len(tables) >= 9
    assert all(table.__struct_config__.forbid_unknown_fields for table in tables if table is not msgspec.Struct)
