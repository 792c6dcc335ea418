"""What a state of belief costs from here to the end: cures in the order of chance per cost, or stopping.

With one fault and independent repairs that order is the best there is
(Kadane & Simon 1977); with several it is close to it, and it is only used to
look beyond the next step, which is chosen by what it costs and by what each
of its outcomes then costs.

Sites that the same cures mend are one here, so that a state of belief is a
row of a hundred chances or so, and all states are reckoned at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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
    if not states:
        return []
    ways = _Ways.of(states, where)
    chances = ways.rows(states)
    chances[:, 0] = 0.0
    best, stops = _least(chances, ways, where, tariff)
    return [
        Worth(expected_cost=float(cost), stops=bool(stop and chance > 0))
        for cost, stop, chance in zip(best, stops, chances.sum(axis=1), strict=True)
    ]


def _least(left: Numbers, ways: _Ways, where: Standing, tariff: Tariff) -> tuple[Numbers, Numbers]:
    """Per state the least cost, and 1 where it is that of giving up at once; ``left`` is what is still wrong."""
    import numpy as np

    always, if_mended, fails = np.array(tariff.always), np.array(tariff.if_mended), np.array(where.fails)
    count = len(left)
    rows, stops, spent = np.arange(count), np.ones(count), np.zeros(count)
    tries = np.zeros((count, len(always)), dtype=np.intp)
    best = left.sum(axis=1) * tariff.given_up
    enough = _NEGLIGIBLE * left.sum(axis=1)
    for _ in range(_MOST_CURES if len(always) else 0):
        remaining = left.sum(axis=1)
        touched = (left @ ways.touched) * (1 - fails)
        gain = (left @ ways.mended) * (1 - fails) + _IN_PART * touched
        each = remaining[:, None] * always + touched * if_mended
        ratio = np.where(tries < _MOST_TRIES, gain / np.maximum(each, _LEAST_COST), 0.0)
        choice = ratio.argmax(axis=1)
        goes_on = (ratio[rows, choice] > 0) & (remaining > enough)
        if not goes_on.any():
            break
        spent += np.where(goes_on, each[rows, choice], 0.0)
        tries[rows, choice] += 1
        fail = np.where(goes_on, fails[choice], 1.0)[:, None]
        left = ways.after(left, choice) * (1 - fail) + left * fail
        left[:, 0] = 0.0
        total = spent + left.sum(axis=1) * tariff.given_up
        better = goes_on & (total < best)
        best, stops = np.where(better, total, best), np.where(better, 0.0, stops)
    return best, stops


@dataclass(frozen=True, kw_only=True)
class _Ways:
    """The states of a unit that cures lead through, the whole one first, and where each cure leads from each."""

    seen: dict[int, Indices]
    """By identity of an array of masks, the state of the unit in each row."""
    states: Masks
    """Masks of kinds, ascending: what the same cures mend is of one kind."""
    next: Indices
    """Per cure and state, the state that it leads to."""
    mended: Numbers
    """Per state and cure, 1 where the unit is then whole."""
    touched: Numbers
    """Per state and cure, 1 where it changes something."""

    @classmethod
    def of(cls, states: Sequence[tuple[Masks, Numbers]], where: Standing) -> _Ways:
        import numpy as np

        kinds, mends = _kinds(where)
        arrays = {id(masks): masks for masks, _ in states}  # beliefs that an answer tells apart share one
        seen = _of_kind(np.concatenate(list(arrays.values())), kinds)
        found = np.unique(np.append(seen, np.uint64(0)))
        while True:
            then = found[None, :] & ~mends[:, None]
            closed = np.unique(np.concatenate([found, then.ravel()]))
            if len(closed) == len(found):
                break
            found = closed
        rows = np.split(np.searchsorted(found, seen), np.cumsum([len(masks) for masks in arrays.values()])[:-1])
        touched = (then != found[None, :]).T.astype(float)
        return cls(
            seen=dict(zip(arrays, rows, strict=True)),
            states=found,
            next=np.searchsorted(found, then),
            mended=((then == 0) & (found[None, :] != 0)).T.astype(float),
            touched=touched,
        )

    def rows(self, states: Sequence[tuple[Masks, Numbers]]) -> Numbers:
        """The chances of every state of belief, one a row."""
        import numpy as np

        width = len(self.states)
        owner = np.repeat(np.arange(len(states)), [len(masks) for masks, _ in states])
        place = np.concatenate([self.seen[id(masks)] for masks, _ in states])
        chances = np.concatenate([chances for _, chances in states])
        rows = np.bincount(owner * width + place, chances, len(states) * width)
        return rows.astype(np.float64).reshape(-1, width)

    def after(self, left: Numbers, choice: Indices) -> Numbers:
        """The rows after one cure each, if it succeeds."""
        import numpy as np

        count, width = left.shape
        places = np.arange(count)[:, None] * width + self.next[choice]
        rows = np.bincount(places.ravel(), left.ravel(), count * width)
        return rows.astype(np.float64).reshape(count, width)


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
    import numpy as np

    found = np.zeros(len(masks), dtype=np.uint64)
    for place, kind in enumerate(kinds):
        found |= ((masks >> np.uint64(place)) & np.uint64(1)) * kind
    return found
