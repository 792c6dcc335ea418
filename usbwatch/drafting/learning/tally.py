"""Captures counted one after another, none of them kept.

Of each capture stay some hundred small numbers; what the numbers stand for
(things, manners of showing, strings, what could be seen) is kept once. All of
it is bounded, so that no set of files can use up the memory.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

from usbwatch.drafting.learning.sightings import Manner, Thing, sighting
from usbwatch.drafting.learning.table import Column, Table
from usbwatch.drafting.learning.values import Outlier, OutlierKind, Source
from usbwatch.drafting.learning.vision import Vision

if TYPE_CHECKING:
    from usbwatch.drafting.learning.table import Numbers

__all__ = ["Tally"]

_MOST_THINGS = 60_000
_MOST_MANNERS = 20_000
_BARE_MANNERS = 4_000
"""Room for manners without any text of a unit: roles, functions, rungs and halves of a unit, all together."""
_MOST_VISIONS = 20_000
_LARGEST_VISION = 4_000
_MOST_IN_VISIONS = 3_000_000
"""Bounds that no fleet of one model comes near; what is beyond them is not counted, and said."""

_TOO_STRANGE = "it holds more than a laptop has, or the captures before it were of too many kinds to hold one more"

_T = TypeVar("_T")


class _Numbers(Generic[_T]):
    """Values with a number each, given in the order in which they come."""

    def __init__(self, most: int) -> None:
        self.of: dict[_T, int] = {}
        self._most = most

    def number(self, value: _T) -> int | None:
        """The number of a value, None for a new one when there is no more room."""
        known = self.of.get(value)
        if known is None and len(self.of) < self._most:
            known = self.of[value] = len(self.of)
        return known


@dataclass(slots=True, kw_only=True)
class _Row:
    """One capture; its things are a part of the two long lists of numbers."""

    name: str
    digest: str
    texts: tuple[str, ...]
    serial: str
    day: str
    vision: int
    troubles: tuple[str, ...]
    start: int
    end: int


def _bare(manner: Manner) -> Manner:
    """A manner without the texts of a unit, of which there are only so many."""
    return manner._replace(evidence="", name="", driver="", speed_mbps=0, lanes=0, link_gts=0.0)


def _same_as(name: str, other: str) -> str:
    return (
        "this file was named more than once, and counts once" if name == other else f"it is the same capture as {other}"
    )


class Tally:
    """Counts captures; ``table()`` gives what was counted, the same in whatever order they came."""

    def __init__(self) -> None:
        self._things: _Numbers[Thing] = _Numbers(_MOST_THINGS)
        self._manners: _Numbers[Manner] = _Numbers(_MOST_MANNERS)
        self._visions: _Numbers[Vision] = _Numbers(_MOST_VISIONS)
        self._in_visions = 0
        self._places: dict[str, str] = {}
        self._texts: dict[tuple[str, ...], tuple[str, ...]] = {}
        self._troubles: dict[tuple[str, ...], tuple[str, ...]] = {}
        self._row_of: dict[str, int] = {}
        self._rows: list[_Row] = []
        self._thing = array("I")
        self._manner = array("I")
        self.outliers: list[Outlier] = []

    def add(self, source: Source) -> None:
        """Count one capture; one with a digest that was there before is only noted."""
        known = self._row_of.get(source.digest)
        if known is not None:
            self._note_twice(source.name, known)
            return
        seen = sighting(source.capture)
        number = None if seen.useless else self._number(seen.vision)
        if number is None:
            why = seen.useless or _TOO_STRANGE
            self.outliers.append(Outlier(name=source.name, kind=OutlierKind.NOTHING_TO_LEARN, reasons=(why,)))
            return
        self._row_of[source.digest] = len(self._rows)
        start = len(self._thing)
        for thing, manner in seen.things:
            self._count(thing, manner)
        self._rows.append(
            _Row(
                name=source.name,
                digest=source.digest,
                texts=self._texts.setdefault(seen.texts, seen.texts),
                serial=seen.serial,
                day=seen.day,
                vision=number,
                troubles=self._troubles.setdefault(seen.troubles, seen.troubles),
                start=start,
                end=len(self._thing),
            )
        )

    def _note_twice(self, name: str, known: int) -> None:
        """Of two names of one capture the one that sorts first is kept, whichever came first."""
        row = self._rows[known]
        kept, other = sorted((row.name, name))
        row.name = kept
        self.outliers.append(Outlier(name=other, kind=OutlierKind.TWICE, reasons=(row.digest,)))

    def _number(self, seen: Vision) -> int | None:
        size = sum(len(part) for part in seen.parts())
        new = seen not in self._visions.of
        if size > _LARGEST_VISION or (new and self._in_visions + size > _MOST_IN_VISIONS):
            return None
        self._in_visions += size if new else 0
        return self._visions.number(seen if not new else seen.sharing(self._places))

    def _count(self, thing: Thing, manner: Manner) -> None:
        number = self._things.number(thing)
        full = len(self._manners.of) >= _MOST_MANNERS - _BARE_MANNERS and manner not in self._manners.of
        how = self._manners.number(_bare(manner) if full else manner)
        if number is not None and how is not None:
            self._thing.append(number)
            self._manner.append(how)

    def table(self) -> Table:
        """What was counted."""
        import numpy as np

        order = sorted(range(len(self._rows)), key=lambda row: self._rows[row].digest)
        rows = [self._rows[row] for row in order]
        lengths = np.array([row.end - row.start for row in self._rows], dtype=np.int64)
        rank = np.empty(len(order), dtype=np.int64)
        rank[order] = np.arange(len(order))
        return Table(
            names=tuple(row.name for row in rows),
            texts=tuple(row.texts for row in rows),
            serials=tuple(row.serial for row in rows),
            days=tuple(row.day for row in rows),
            troubles=tuple(row.troubles for row in rows),
            visions=tuple(self._visions.of),
            vision=np.array([row.vision for row in rows], dtype=np.int64),
            manners=tuple(self._manners.of),
            columns=self._columns(np.repeat(rank, lengths)),
        )

    def _columns(self, rows: Numbers) -> dict[Thing, Column]:
        """Per thing its rows in rising order and how it showed there."""
        import numpy as np

        things = np.array(self._thing, dtype=np.int64)
        manners = np.array(self._manner, dtype=np.int64)
        order = np.lexsort((rows, things))
        bounds = np.searchsorted(things[order], np.arange(len(self._things.of) + 1))
        found = {}
        for thing, number in sorted(self._things.of.items()):
            part = order[bounds[number] : bounds[number + 1]]
            found[thing] = Column(rows=rows[part], manners=manners[part])
        return found

    def told_twice(self) -> tuple[Outlier, ...]:
        """The outliers that were noted while counting, each saying in words what it is like."""
        return tuple(
            Outlier(
                name=one.name,
                kind=one.kind,
                reasons=(_same_as(one.name, self._rows[self._row_of[one.reasons[0]]].name),),
            )
            if one.kind is OutlierKind.TWICE
            else one
            for one in self.outliers
        )
