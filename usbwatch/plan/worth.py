"""What a state of belief costs from here to the end: cures in the order of chance per cost, or stopping.

With one fault and independent repairs that order is the best there is
(Kadane & Simon 1977); with several it is close to it, and it is only used to
look beyond the next step, which is chosen by what it costs and by what each
of its outcomes then costs.

Sites that the same cures mend are one here, and all states of belief are
reckoned at once: a row of a table for each state that a unit can be in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from usbwatch.plan.standing import Standing

if TYPE_CHECKING:
    from usbwatch.plan.standing import Indices, Masks, Numbers

__all__ = ["Tariff", "Worth", "worths"]

_NEGLIGIBLE = 1e-4
"""A chance of a faulty unit below which nothing more is done."""

_MOST_CURES, _MOST_TRIES = 12, 2
"""Cures tried one after the other, and how often the same one: a new part can be bad."""

_IN_PART = 0.1
"""What mending one of several faults counts beside mending the last one, when cures are put in order."""

_RARELY, _MANY_ROWS = 1e-8, 2000
"""A chance, beside that of all that is wrong, that a cure fails just then, below which it is taken to succeed; it
grows with the fourth power of the rows where there are more than so many."""

_MOST_CELLS = 2**19
"""Up to so many numbers in all, rows are added up in one table, which is faster than sorting them."""

_LEAST_COST = 1e-9
"""Stands for the cost of what is free, so that it comes first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tariff:
    """What each cure of a standing costs, and what giving up does."""

    always: tuple[float, ...]
    """Per cure: spent whether or not it helps."""
    if_mended: tuple[float, ...]
    """Per cure: spent when it helps, for a part that was only tried."""
    given_up: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """The expected cost to the end."""

    expected_cost: float
    """Per unit of probability of the state."""
    stops: bool
    """Something may be wrong, and giving up at once is the least."""


def worths(states: Sequence[tuple[Masks, Numbers]], where: Standing, tariff: Tariff) -> list[Worth]:
    """The least expected cost of each state; chances need not add to 1, nor does the cost then.

    A fault set that no cure reaches ends in giving up.
    """
    import numpy as np

    if not states:
        return []
    kinds, mends = _kinds(where)
    rows = _Rows.of(states, kinds)
    wrong = np.bincount(rows.owners, rows.chances, len(states)).astype(np.float64)
    best, stops = _least(rows, wrong, _Cures.of(where, tariff, mends), tariff.given_up)
    return [
        Worth(expected_cost=float(cost), stops=bool(stop and chance > 0))
        for cost, stop, chance in zip(best, stops, wrong, strict=True)
    ]


def _least(rows: _Rows, wrong: Numbers, cures: _Cures, given_up: float) -> tuple[Numbers, Numbers]:
    """Per state of belief the least cost, and 1 where it is that of giving up at once."""
    import numpy as np

    stops, spent, best = np.ones(len(wrong)), np.zeros(len(wrong)), wrong * given_up
    tries = np.zeros((len(wrong), len(cures.always)), dtype=np.intp)
    for _ in range(_MOST_CURES if len(cures.always) else 0):
        owners, remaining = rows.sums
        if not len(owners):
            break
        gain, cost = cures.weighed(rows, remaining)
        ratio = np.where(tries[owners] < _MOST_TRIES, gain / np.maximum(cost, _LEAST_COST), 0.0)
        choice, each = ratio.argmax(axis=1), np.arange(len(owners))
        goes_on = (ratio[each, choice] > 0) & (remaining > _NEGLIGIBLE * wrong[owners])
        goes_on &= spent[owners] + cost[each, choice] < best[owners]  # beyond that no end can be cheaper
        going = owners[goes_on]
        spent[going] += cost[each, choice][goes_on]
        tries[going, choice[goes_on]] += 1
        chosen = np.full(len(wrong), -1)
        chosen[going] = choice[goes_on]
        rows = rows.cured(chosen, cures, _RARELY * max(1.0, len(rows.owners) / _MANY_ROWS) ** 4 * wrong)
        total = spent + np.bincount(rows.owners, rows.chances, len(wrong)) * given_up
        better = going[total[going] < best[going]]
        best[better], stops[better] = total[better], 0.0
    return best, stops


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cures:
    """What can be done, one column each."""

    mends: Masks
    always: Numbers
    if_mended: Numbers
    fails: Numbers

    @classmethod
    def of(cls, where: Standing, tariff: Tariff, mends: Masks) -> _Cures:
        import numpy as np

        return cls(
            mends=mends,
            always=np.array(tariff.always),
            if_mended=np.array(tariff.if_mended),
            fails=np.array(where.fails),
        )

    def weighed(self, rows: _Rows, remaining: Numbers) -> tuple[Numbers, Numbers]:
        """Per state of belief and cure, what it gains and what it costs."""
        import numpy as np

        touched = (rows.pool[:, None] & self.mends) != 0
        whole = (rows.pool[:, None] & ~self.mends) == 0
        gain = rows.summed((whole + _IN_PART * touched) * (1 - self.fails))
        cost = np.multiply.outer(remaining, self.always)
        if self.if_mended.any():
            cost += rows.summed(touched * ((1 - self.fails) * self.if_mended))
        return gain, cost


@dataclass(frozen=True, kw_only=True)
class _Rows:
    """States that a unit can be in, none of them whole, by the state of belief that they belong to."""

    pool: Masks
    """All states that there are, masks of kinds, ascending."""
    owners: Indices
    """Per row, its state of belief."""
    places: Indices
    """Per row, its state in the pool."""
    chances: Numbers

    @classmethod
    def of(cls, beliefs: Sequence[tuple[Masks, Numbers]], kinds: Masks) -> _Rows:
        import numpy as np

        arrays = {id(masks): masks for masks, _ in beliefs}  # beliefs that an answer tells apart share one
        masks, of_mask = np.unique(np.concatenate(list(arrays.values())), return_inverse=True)
        pool, of_state = np.unique(_of_kind(masks, kinds), return_inverse=True)
        ends = np.cumsum([len(each) for each in arrays.values()])[:-1]
        seen = dict(zip(arrays, np.split(of_state.ravel()[of_mask.ravel()], ends), strict=True))
        return cls._wrong(
            pool,
            np.repeat(np.arange(len(beliefs)), [len(masks) for masks, _ in beliefs]),
            np.concatenate([seen[id(masks)] for masks, _ in beliefs]),
            np.concatenate([chances for _, chances in beliefs]),
        )

    @classmethod
    def _wrong(cls, pool: Masks, owners: Indices, places: Indices, chances: Numbers) -> _Rows:
        """Equal rows added up, in the order of their owners; those of whole units are left out."""
        import numpy as np

        wrong = np.flatnonzero((pool[places] != 0) & (chances > 0))
        keys, chances = owners[wrong] * len(pool) + places[wrong], chances[wrong]
        if len(keys) and int(keys.max()) < _MOST_CELLS:
            table = np.bincount(keys, chances).astype(np.float64)
            keys = np.flatnonzero(table)
            chances = table[keys]
        else:
            keys, rows = np.unique(keys, return_inverse=True)
            chances = np.bincount(rows.ravel(), chances, len(keys)).astype(np.float64)
        owners, places = np.divmod(keys, max(1, len(pool)))
        return cls(pool=pool, owners=owners, places=places, chances=chances)

    @cached_property
    def _starts(self) -> Indices:
        import numpy as np

        return np.flatnonzero(np.diff(self.owners, prepend=-1))

    @property
    def sums(self) -> tuple[Indices, Numbers]:
        """The states of belief that are not done with, and how probable it is in each that something is wrong."""
        import numpy as np

        starts = self._starts
        return self.owners[starts], np.add.reduceat(self.chances, starts) if len(starts) else self.chances[:0]

    def summed(self, of_state: Numbers) -> Numbers:
        """Per state of belief the mean of these rows, one for each state of the pool, times the chance of all."""
        import numpy as np

        rows = of_state[self.places]
        rows *= self.chances[:, None]
        found: Numbers = np.add.reduceat(rows, self._starts, axis=0)
        return found

    def cured(self, chosen: Indices, cures: _Cures, rarely: Numbers) -> _Rows:
        """After one cure for each state of belief, whether it succeeds or fails; below 0, it is done with."""
        import numpy as np

        cure = chosen[self.owners]
        kept = np.flatnonzero(cure >= 0)
        owners, places, chances, cure = self.owners[kept], self.places[kept], self.chances[kept], cure[kept]
        ways = places * len(cures.mends) + cure
        used = np.flatnonzero(np.bincount(ways, minlength=1))
        before, by = np.divmod(used, len(cures.mends))
        then = self.pool[before] & ~cures.mends[by]
        pool, found = np.unique(np.concatenate([self.pool[before], then]), return_inverse=True)
        leads = np.zeros(int(used.max(initial=0)) + 1, dtype=np.intp)
        leads[used] = found.ravel()[len(before) :]
        after, stays = leads[ways], np.searchsorted(pool, self.pool)[places]
        failing = chances * cures.fails[cure] * (after != stays)
        failing[failing < rarely[owners]] = 0.0
        fails = np.flatnonzero(failing)
        return self._wrong(
            pool,
            np.concatenate([owners, owners[fails]]),
            np.concatenate([after, stays[fails]]),
            np.concatenate([chances - failing, failing[fails]]),
        )


def _kinds(where: Standing) -> tuple[Masks, Masks]:
    """Per site the bit of its kind, and per cure the kinds that it mends."""
    import numpy as np

    number: dict[tuple[int, ...], int] = {}
    of_site = []
    for place in range(len(where.sites)):
        signature = tuple(cure for cure, mask in enumerate(where.mends) if mask >> place & 1)
        of_site.append(1 << number.setdefault(signature, len(number)))
    mends = [0] * len(where.cures)
    for signature, kind in number.items():
        for cure in signature:
            mends[cure] |= 1 << kind
    return np.array(of_site, dtype=np.uint64), np.array(mends, dtype=np.uint64)


def _of_kind(masks: Masks, kinds: Masks) -> Masks:
    """The masks of kinds for these masks of sites."""
    import numpy as np

    found = np.zeros(len(masks), dtype=np.uint64)
    for place, kind in enumerate(kinds):
        found |= ((masks >> np.uint64(place)) & np.uint64(1)) * kind
    return found
