"""What was counted, as columns of numbers: one row for each capture, sorted by digest."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias

from usbwatch.drafting.learning.sightings import STRINGS, Manner, Thing
from usbwatch.drafting.learning.vision import BLIND, OPEN, Vision, blocked

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Numbers: TypeAlias = NDArray[np.int64]
    Flags: TypeAlias = NDArray[np.bool_]

__all__ = ["KEY_NAMES", "Column", "Key", "Table", "fold"]

KEY_NAMES = (*STRINGS, "kernel")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """The captures that have one thing."""

    rows: Numbers
    """Rising."""
    manners: Numbers
    """How it showed in each, as a number into ``Table.manners``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One string of all captures: numbers into its values, which are folded and sorted."""

    name: str
    of: Numbers
    values: tuple[str, ...]
    written: tuple[str, ...]
    """Each value as most units write it."""


def fold(text: str) -> str:
    """A string as a profile's ``match`` compares it."""
    return " ".join(text.split()).casefold()


@dataclass(frozen=True, kw_only=True)
class Table:
    """Columns of captures, and what their numbers stand for."""

    names: tuple[str, ...]
    texts: tuple[tuple[str, ...], ...]
    serials: tuple[str, ...]
    days: tuple[str, ...]
    troubles: tuple[tuple[str, ...], ...]
    visions: tuple[Vision, ...]
    vision: Numbers
    manners: tuple[Manner, ...]
    columns: dict[Thing, Column]

    @property
    def rows(self) -> int:
        """How many captures."""
        return len(self.names)

    @cached_property
    def unit(self) -> Numbers:
        """By row: the number of the unit. Captures without a serial number are each a unit's."""
        import numpy as np

        first: dict[tuple[str, ...], int] = {}
        numbers = [
            first.setdefault((serial, *map(fold, texts[:2])) if serial else (str(row),), len(first))
            for row, (serial, texts) in enumerate(zip(self.serials, self.texts, strict=True))
        ]
        return np.array(numbers, dtype=np.int64)

    @cached_property
    def units(self) -> int:
        """How many units."""
        return int(self.unit.max()) + 1 if self.rows else 0

    @cached_property
    def keys(self) -> dict[str, Key]:
        """By name: every string that tells units apart."""
        return {name: self._key(name, index) for index, name in enumerate(KEY_NAMES)}

    def _key(self, name: str, index: int) -> Key:
        import numpy as np

        written: dict[str, Counter[str]] = {}
        for texts in self.texts:
            written.setdefault(fold(texts[index]), Counter())[texts[index]] += 1
        values = tuple(sorted(written))
        number = {value: position for position, value in enumerate(values)}
        usual = tuple(min(written[value].items(), key=lambda pair: (-pair[1], pair[0]))[0] for value in values)
        of = np.array([number[fold(texts[index])] for texts in self.texts], dtype=np.int64)
        return Key(name=name, of=of, values=values, written=usual)

    def by_unit(self, states: Numbers) -> Numbers:
        """The highest state among the captures of each unit."""
        import numpy as np

        if self.units == self.rows:
            return states
        highest = np.zeros(self.units, dtype=np.int64)
        np.maximum.at(highest, self.unit, states)
        return highest

    @cached_property
    def first_of_unit(self) -> Numbers:
        """By unit: its first row."""
        import numpy as np

        return np.unique(self.unit, return_index=True)[1].astype(np.int64)

    def way(self, place: str, bus: str) -> tuple[Numbers, tuple[str, ...]]:
        """By row: what blocks the view of a place, as a number into the words of ``blocked``; the first is ``OPEN``."""
        import numpy as np

        words = {OPEN: 0, BLIND: 1}
        by_vision = np.array([words.setdefault(blocked(place, bus, one), len(words)) for one in self.visions])
        return by_vision[self.vision].astype(np.int64), tuple(words)

    @cached_property
    def sockets(self) -> Counter[str]:
        """By place: how many captures say that it is a socket."""
        import numpy as np

        counted: Counter[str] = Counter()
        for number, times in enumerate(np.bincount(self.vision, minlength=len(self.visions))):
            for place in self.visions[number].sockets if times else ():
                counted[place] += int(times)
        return counted

    def empty_ports(self) -> Counter[str]:
        """By place: in how many units a port that firmware calls hardwired was found with nothing on it."""
        units: dict[str, set[int]] = {}
        for unit, number in set(zip(self.unit.tolist(), self.vision.tolist(), strict=True)):
            for place in self.visions[number].empty:
                units.setdefault(place, set()).add(unit)
        return Counter({place: len(those) for place, those in units.items()})

    def only(self, kept: Flags) -> Table:
        """The same, of some rows alone."""
        import numpy as np

        if bool(kept.all()):
            return self
        rank = np.cumsum(kept) - 1
        rows = [int(row) for row in np.flatnonzero(kept)]
        columns = {}
        for thing, column in self.columns.items():
            mask = kept[column.rows]
            if mask.any():
                columns[thing] = Column(rows=rank[column.rows[mask]], manners=column.manners[mask])
        return Table(
            names=tuple(self.names[row] for row in rows),
            texts=tuple(self.texts[row] for row in rows),
            serials=tuple(self.serials[row] for row in rows),
            days=tuple(self.days[row] for row in rows),
            troubles=tuple(self.troubles[row] for row in rows),
            visions=self.visions,
            vision=self.vision[kept],
            manners=self.manners,
            columns=columns,
        )
