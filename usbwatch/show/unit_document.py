"""A unit's history and lists of units as JSON documents."""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.capture.document import plain
from usbwatch.casebook import Standing, Story
from usbwatch.casebook.entries import kind_of
from usbwatch.model.history import Entry, Recorded, Unit
from usbwatch.show.json_values import Json, plain_value

__all__ = ["unit_document", "unit_value", "units_document"]


def units_document(units: Sequence[Unit]) -> dict[str, Json]:
    """The units of a list."""
    return {"format": "usbwatch-units-list", "schema": 1, "units": [unit_value(one) for one in units]}


def unit_value(unit: Unit) -> Json:
    """One unit as a list has it."""
    return plain_value(unit)


def unit_document(unit: Unit, told: Story) -> dict[str, Json]:
    """A unit and its entries as they stand, with their amendments."""
    return {
        "format": "usbwatch-unit",
        "schema": 1,
        "unit": unit_value(unit),
        "entries": [_standing(each) for each in told.standings],
    }


def _standing(standing: Standing) -> Json:
    return {
        **_entry(standing.entry),
        "stands": None if standing.fact is None else _fact(standing.fact),
        "amendments": [_entry(one) for one in standing.amendments],
    }


def _entry(entry: Entry) -> dict[str, Json]:
    return {
        "number": entry.number,
        "id": entry.id,
        "at": entry.at,
        "recorded_at": entry.recorded_at,
        "by": entry.by,
        "fact": _fact(entry.fact),
    }


def _fact(fact: Recorded) -> Json:
    found = plain(fact)
    assert isinstance(found, dict)
    return {"kind": kind_of(fact), **found}
