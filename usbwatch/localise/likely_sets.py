"""The sets of faults that are likely, of whatever size, out of more than could be listed.

The sites are taken in the order of ``EverySet``. Every set of the faults taken
so far carries its table; together with the backward sum that gives the exact
chance of all sets that begin so. Where there are more beginnings than may be
kept, those above a threshold stay as they are, and of the others an even
selection stays, each with the threshold for its chance, so that it stands for
its neighbours (Fearnhead & Clifford, "On-line inference for hidden Markov
models via particle filters", 2003). Faults that are not asked for are summed
out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from usbwatch.localise.every_set import EverySet, Stage, acted, acted_back

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from usbwatch.localise.weighing import Indices, Numbers

    Masks = NDArray[np.uint64]

__all__ = ["MOST_BITS", "likely_sets"]

MOST_BITS = 64
"""Bits of a mask."""

_MOST_CELLS, _FEWEST_KEPT = 2**18, 32
"""Numbers in all tables together, where that leaves so many sets."""


def likely_sets(sums: EverySet, bits: Sequence[int], most: int) -> tuple[Masks, Numbers]:
    """At most ``most`` sets as masks, ascending, with their probabilities; together 1.

    ``bits``: per fault the bit that stands for it, from 0, or below 0 where it
    is summed out; faults of one site may share a bit. A set that is at least
    as probable as 1 / ``most`` is among them with its exact probability, and
    all are where there are no more than ``most`` (unless so much was found
    wrong, and is tied to each other, that fewer are kept). Beyond that a set
    stands for others like it, and has their probability.
    """
    import numpy as np

    apart = (site for site in sums.apart if any(bits[fault] >= 0 for fault in site))
    stages = [*sums.stages, *(Stage(faults=site, opens=(), closes=()) for site in apart)]
    later = list(_later(sums, stages))
    rows = _Rows(
        masks=np.zeros(1, dtype=np.uint64),
        weights=np.ones(1),
        tables=np.ones((*(1 for _ in range(sums.widest)), 1)),
    )
    for stage in stages:
        rows = _stepped(sums, stage, rows, bits).kept(later.pop(), most)
    order = np.argsort(rows.masks)
    return rows.masks[order], rows.weights[order]


def _later(sums: EverySet, stages: Sequence[Stage]) -> list[Numbers]:
    """Per stage, first to last, what each place of the table after it counts; the last one first."""
    import numpy as np

    later = np.ones((*(1 for _ in range(sums.widest)), 1))
    found = []
    for stage in reversed(stages):
        found.append(later)
        for number in stage.closes:
            later = np.concatenate([later * sums.clean[number], later], axis=sums.axes[number])
        later = later + sum(sums.odds[f] * acted_back(later, sums.touches[f]) for f in stage.faults)
        for number in stage.opens:
            later = later.take([0], axis=sums.axes[number])
        later = later / later.max()
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """Beginnings of sets, neighbours side by side, each with its table; the tables' last axis counts them."""

    masks: Masks
    weights: Numbers
    """The probability of each, all that can follow included; the tables are to a scale that they share."""
    tables: Numbers

    def kept(self, later: Numbers, most: int) -> _Rows:
        """Not more than so many, scaled to 1 together."""
        chances = (self.tables * later).reshape(-1, len(self.masks)).sum(axis=0)
        whole = chances.sum()
        room = max(_FEWEST_KEPT, _MOST_CELLS // (self.tables.size // len(self.masks)))
        stay, weights = _selection(chances / whole, min(most, room))
        scale = weights / chances[stay]
        return _Rows(masks=self.masks[stay], weights=weights, tables=self.tables[..., stay] * scale)


def _stepped(sums: EverySet, stage: Stage, rows: _Rows, bits: Sequence[int]) -> _Rows:
    """Every beginning with each way in which one site can have fared, those that share a bit added up."""
    import numpy as np

    tables = rows.tables
    for number in stage.opens:
        tables = np.concatenate([tables, np.zeros_like(tables)], axis=sums.axes[number])
    found = {-1: tables}
    for fault in stage.faults:
        grown, bit = acted(tables * sums.odds[fault], sums.touches[fault]), max(-1, bits[fault])
        found[bit] = found[bit] + grown if bit in found else grown
    masks = np.stack([rows.masks | np.uint64(1 << bit if bit >= 0 else 0) for bit in found], axis=1).ravel()
    grown = np.stack(list(found.values()), axis=-1).reshape(*tables.shape[:-1], -1)
    for number in stage.closes:
        shut, shown = np.split(grown, 2, axis=sums.axes[number])
        grown = shut * sums.clean[number] + shown
    return _Rows(masks=masks, weights=np.zeros(len(masks)), tables=grown)


_GOLDEN = 0.5 * (5**0.5 - 1)
"""Where in its stratum each mark lies: spread evenly, and in step with no pattern of the rows."""


def _selection(chances: Numbers, most: int) -> tuple[Indices, Numbers]:
    """Which rows stay, ascending, and their probabilities; ``chances`` and what comes back add to 1."""
    import numpy as np

    alive = np.flatnonzero(chances)
    if len(alive) <= most:
        return alive, chances[alive]
    stays = chances >= _threshold(chances, most)
    rest, count = np.flatnonzero(~stays), most - int(stays.sum())
    weights = chances.copy()
    if count > 0:
        cumulated = np.cumsum(chances[rest])
        each = cumulated[-1] / count
        strata = np.arange(count)
        marks = (strata + (strata + 1) * _GOLDEN % 1) * each
        chosen, times = np.unique(rest[np.searchsorted(cumulated, marks)], return_counts=True)
        stays[chosen], weights[chosen] = True, each * times
    kept = np.flatnonzero(stays)
    return kept, weights[kept]


def _threshold(chances: Numbers, most: int) -> float:
    """The c at which min(chance / c, 1), added up over all rows, comes to ``most``."""
    import numpy as np

    rising = np.sort(chances)
    left = np.cumsum(rising)[::-1][:most]
    falling = rising[::-1][:most]
    thresholds = left / np.arange(most, 0, -1)  # where as many as there are before it stay as they are
    below = np.flatnonzero(falling < thresholds)
    return float(thresholds[below[0]] if len(below) else falling[-1])
