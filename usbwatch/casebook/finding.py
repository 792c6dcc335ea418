"""Units found by a few letters: of a label, a serial number, a model, or the start of an id."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from usbwatch.casebook.rows import UNIT, escaped_like, unit_of
from usbwatch.casebook.rules import folded
from usbwatch.casebook.serials import folded_serial
from usbwatch.casebook.store import Row, Store
from usbwatch.model.history import Unit

__all__ = ["Found", "find", "units_with"]

_SHORTEST_ID = 8
"""Hex digits of an id that are worth a search."""
_WHOLE = 6
"""Letters from which on a text that some unit is called by is taken for all of that label or serial number."""
_LAST = "\U0010ffff"
"""Sorts behind any text, byte by byte."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A unit, and what of it fits."""

    unit: Unit
    by: str
    """``label``, ``serial``, ``id`` or ``model``."""
    what: str
    """The label, serial number, id or model itself. Foreign text."""
    part: str = ""
    """Of a serial number: whose. An expected device's or subassembly's id, ``unit`` or ``board``."""


def units_with(store: Store, serial: str, part: str) -> tuple[Unit, ...]:
    """The units whose ``part`` (``unit``, ``board``, an expected device's id) has or had exactly this serial number."""
    rows = store.rows(
        f"SELECT {UNIT} FROM serial JOIN unit ON unit.key = serial.unit"  # noqa: S608 - a constant
        " WHERE serial.folded = ? AND serial.part = ? ORDER BY unit.changed_at DESC",
        *(folded_serial(serial), part),
    )
    return tuple(unit_of(row, store.name) for row in rows)


def find(store: Store, text: str, limit: int = 20) -> tuple[Found, ...]:
    """At most ``limit`` units, each once: those that are called so first, then those beginning, then those containing.

    Case and spaces are folded. A serial number is found that the unit has or
    once had. Nothing is found by an empty text. Where a text of six letters or
    more is a whole label, serial number or model, those that merely contain it
    are not looked for: that reads all labels and serial numbers of the book.
    """
    asked = folded_serial(text)
    if not asked:
        return ()
    found: dict[str, Found] = {}
    for each in _beginning(store, asked, limit):
        found.setdefault(each.unit.id, each)
    whole = len(asked) >= _WHOLE and any(asked in (folded(each.what), each.unit.id) for each in found.values())
    if not whole and len(found) < limit:
        for each in _within(store, asked, limit):
            found.setdefault(each.unit.id, each)
    return tuple(found.values())[:limit]


def _beginning(store: Store, asked: str, limit: int) -> Iterator[Found]:
    """Those called so, then those that begin so: all from indexes."""
    beginning = (asked, asked + _LAST)
    models = _models(store)
    yield from _by_label(store, "unit.folded = ?", (asked,), limit)
    yield from _by_serial(store, "serial.folded = ?", (asked,), limit)
    yield from _by_model(store, [one for one in models if folded(one) == asked], limit)
    if len(asked) >= _SHORTEST_ID and set(asked) <= set("0123456789abcdef"):
        yield from _by_id(store, asked, limit)
    yield from _by_label(store, "unit.folded >= ? AND unit.folded < ?", beginning, limit)
    yield from _by_serial(store, "serial.folded >= ? AND serial.folded < ?", beginning, limit)
    yield from _by_model(store, [one for one in models if folded(one).startswith(asked)], limit)


def _within(store: Store, asked: str, limit: int) -> Iterator[Found]:
    """Those that have it within, which no index tells."""
    within = f"%{escaped_like(asked)}%"
    yield from _by_label(store, "unit.folded LIKE ? ESCAPE '!'", (within,), limit)
    yield from _by_serial(store, "serial.folded LIKE ? ESCAPE '!'", (within,), limit)
    yield from _by_model(store, [one for one in _models(store) if asked in folded(one)], limit)


def _by_label(store: Store, condition: str, values: tuple[str, ...], limit: int) -> Iterator[Found]:
    for row in store.rows(
        f"SELECT {UNIT} FROM unit WHERE {condition} ORDER BY unit.folded LIMIT ?",  # noqa: S608 - constants
        *values,
        limit,
    ):
        unit = unit_of(row, store.name)
        yield Found(unit=unit, by="label", what=unit.label)


def _by_serial(store: Store, condition: str, values: tuple[str, ...], limit: int) -> Iterator[Found]:
    """Some units have several such parts: so many rows are asked for that enough units remain."""
    rows: list[Row] = store.rows(
        f"SELECT {UNIT}, serial.part, serial.shown FROM serial JOIN unit ON unit.key = serial.unit"  # noqa: S608 - the same
        f" WHERE {condition} ORDER BY serial.folded, serial.unit LIMIT ?",
        *values,
        8 * limit,
    )
    for *row, part, shown in rows:
        yield Found(unit=unit_of(tuple(row), store.name), by="serial", what=shown, part=part)


def _by_id(store: Store, asked: str, limit: int) -> Iterator[Found]:
    for row in store.rows(
        f"SELECT {UNIT} FROM unit WHERE id >= ? AND id < ? ORDER BY id LIMIT ?",  # noqa: S608 - the same
        *(asked, asked + "g", limit),
    ):
        unit = unit_of(row, store.name)
        yield Found(unit=unit, by="id", what=unit.id)


def _by_model(store: Store, models: list[str], limit: int) -> Iterator[Found]:
    for model in models:
        for row in store.rows(
            f"SELECT {UNIT} FROM unit WHERE model = ? ORDER BY changed_at DESC LIMIT ?",  # noqa: S608 - the same
            *(model, limit),
        ):
            yield Found(unit=unit_of(row, store.name), by="model", what=model)


def _models(store: Store) -> list[str]:
    """The models that units have, each once: from one to the next in the index, however many units there are."""
    found: list[str] = []
    last = ""
    while True:
        ((model,),) = store.rows("SELECT min(model) FROM unit WHERE model > ?", last)
        if model is None:
            return found
        last = model
        found.append(model)
