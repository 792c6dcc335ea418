"""A TOML document as plain data, with what no profile may hold told and taken out.

TOML allows what JSON and a terminal do not: dates, ``nan`` and ``inf``,
whole numbers without end, control characters, tables nested without end.
"""

from __future__ import annotations

import datetime as dt
import math

from usbwatch.profile.faults import Fault, Place, quoted

__all__ = ["plain"]

_DEEPEST = 8
"""A profile needs four: ``device``, its id, ``needs``, an item."""
_LARGEST = 1 << 53
"""Whole numbers up to here mean the same to every JSON reader (RFC 8259, section 6)."""
_STAND_IN = 1


def plain(document: dict[str, object]) -> tuple[dict[str, object], tuple[Fault, ...]]:
    """``document`` with dates as ISO 8601 text, and one fault per value that had to be replaced or cannot be shown."""
    faults: list[Fault] = []
    return _table(document, (), faults), tuple(faults)


def _table(table: dict[str, object], place: Place, faults: list[Fault]) -> dict[str, object]:
    strange = (key for key in table if not key.isprintable())
    faults.extend(
        Fault(place=(*place, key), problem="this key holds a character that cannot be shown") for key in strange
    )
    return {key: _value(value, (*place, key), faults) for key, value in table.items()}


def _value(value: object, place: Place, faults: list[Fault]) -> object:
    if isinstance(value, dict | list) and len(place) >= _DEEPEST:
        faults.append(Fault(place=place, problem="is nested too deeply for a profile"))
        return _STAND_IN
    if isinstance(value, dict):
        return _table(value, place, faults)
    if isinstance(value, list):
        return [_value(item, (*place, index), faults) for index, item in enumerate(value)]
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return _leaf(value, place, faults)


def _leaf(value: object, place: Place, faults: list[Fault]) -> object:
    problem = _text_problem(value) if isinstance(value, str) else _number_problem(value)
    if problem:
        faults.append(Fault(place=place, problem=problem))
        return value if isinstance(value, str) else _STAND_IN
    return value


def _text_problem(text: str) -> str:
    if "\t" in text and text.replace("\t", " ").isprintable():
        return f"holds a tab, which cannot be shown: {quoted(text.replace(chr(9), ' '))}; write a space for it"
    if not text.isprintable():
        return f"holds a character that cannot be shown: {quoted(text)}; write it on one line, in plain characters"
    return "is blank; write something or leave the key out" if text and not text.strip() else ""


def _number_problem(number: object) -> str:
    if isinstance(number, int) and abs(number) >= _LARGEST:
        return "is a number far out of bounds"
    if isinstance(number, float) and not math.isfinite(number):
        return f"is {quoted(number)}, which is no number to reckon with"
    return ""
