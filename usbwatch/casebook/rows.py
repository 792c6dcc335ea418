"""A unit's row in the store, and what searches over rows have in common."""

from __future__ import annotations

from usbwatch.casebook.store import Row
from usbwatch.errors import BadBook
from usbwatch.model.history import Ending, Unit
from usbwatch.safe import safe

__all__ = ["UNIT", "escaped_like", "unit_of"]

UNIT = "unit.id, unit.label, unit.model, unit.ending, unit.opened_at, unit.changed_at, unit.entries"
"""The columns that a unit is made of."""


def unit_of(row: Row, book: str) -> Unit:
    """The unit that a row of ``UNIT`` tells. Raises ``BadBook``, of the book so named, for an ending that is none."""
    id_, label, model, ending, opened_at, changed_at, entries = row
    if ending is not None and ending not in {one.value for one in Ending}:
        raise BadBook(book, f"is damaged: unit {safe(str(label))} has an ending that is none", "put a copy of it back")
    return Unit(
        id=id_,
        label=label,
        model=model,
        ending=Ending(ending) if ending is not None else None,
        opened_at=opened_at,
        changed_at=changed_at,
        entries=entries,
    )


def escaped_like(text: str) -> str:
    """Text for ``LIKE … ESCAPE '!'``, in which nothing stands for anything but itself.

    >>> escaped_like("50%_!")
    '50!%!_!!'
    """
    return "".join(f"!{letter}" if letter in "!%_" else letter for letter in text)
