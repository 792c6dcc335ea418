"""Every set of faults at once, of whatever size: the probability of the evidence, and of each fault given it.

A sum over 2^n sets that is had in n steps. The sites are taken in an order
that no path contradicts. What must be carried from one to the next is, per
observation found wrong, whether an earlier fault has shown already: a table
with one axis of two places for each of them, from the first site that touches
it to the last. What was found well is a product over faults and needs no
place in it, and a site that touches nothing found wrong stands by itself.
Forward and backward sums give the chance of every fault (the scheme is that
of Rabiner 1989 for chains).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise
from math import fsum, log, prod
from typing import TYPE_CHECKING

from usbwatch.localise.weighing import Fault, Observation

if TYPE_CHECKING:
    from usbwatch.localise.weighing import Numbers

__all__ = ["MOST_WRONG", "EverySet", "Share", "Stage", "acted", "acted_back"]

MOST_WRONG = 15
"""With more observations found wrong, and tied to each other, the table would outgrow its use."""

Touch = tuple[int, float, float]
"""Number of a wrong observation (in ``EverySet`` its axis), and how a fault passes it on or shows in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """Probability that none, or any, of a group of faults is there; each is right to its last digits, however small."""

    none: float
    any: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One site: its faults, and the observations that it is the first, or the last, to touch."""

    faults: tuple[int, ...]
    opens: tuple[int, ...]
    closes: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class EverySet:
    """The sums for one body of evidence."""

    stages: tuple[Stage, ...]
    """The sites that touch something found wrong, in an order that no path contradicts."""
    apart: tuple[tuple[int, ...], ...]
    """The faults of each site that touches nothing found wrong."""
    odds: tuple[float, ...]
    """Of each fault alone, what was found well included."""
    touches: tuple[tuple[Touch, ...], ...]
    """Per fault, the axes of what was found wrong, and what it does to each."""
    axes: tuple[int, ...]
    """Per wrong observation its axis: the least one that is free while it is open, for numpy has 32 at most."""
    clean: tuple[float, ...]

    @classmethod
    def of(cls, faults: Sequence[Fault], observations: Sequence[Observation]) -> EverySet | None:
        """None when too much was found wrong, or two paths name the same faults in contrary order."""
        wrong = [each for each in observations if each.wrong]
        odds = [fault.odds for fault in faults]
        for observation in observations:
            for hazard in observation.hazards if not observation.wrong else ():
                odds[hazard.fault] *= hazard.passes
        touches: list[list[Touch]] = [[] for _ in faults]
        for number, observation in enumerate(wrong):
            for hazard in observation.hazards:
                touches[hazard.fault].append((number, hazard.passes, hazard.shows))
        members: dict[int, list[int]] = {}
        for number, fault in enumerate(faults):
            members.setdefault(fault.site, []).append(number)
        touched = {site: frozenset(n for f in own for n, _, _ in touches[f]) for site, own in members.items()}
        order = _in_order(faults, wrong, touched)
        if order is None:
            return None
        stages = tuple(_stages(order, members, touched))
        axes = _axes(stages, len(wrong))
        sums = cls(
            stages=stages,
            apart=tuple(tuple(own) for site, own in members.items() if not touched[site]),
            odds=tuple(odds),
            touches=tuple(tuple((axes[n], passes, shows) for n, passes, shows in each) for each in touches),
            axes=axes,
            clean=tuple(observation.clean for observation in wrong),
        )
        return sums if sums.widest <= MOST_WRONG else None

    @property
    def widest(self) -> int:
        """The most observations that are open at a time: the table has 2 to the power of that many places."""
        still, widest = 0, 0
        for stage in self.stages:
            still += len(stage.opens)
            widest = max(widest, still)
            still -= len(stage.closes)
        return widest

    def log_total(self) -> float:
        """Natural log of the odds of all fault sets together against the empty one."""
        *_, (state, scale) = self._forward(self._no_group(1))
        alone = fsum(log(1 + fsum(self.odds[fault] for fault in site)) for site in self.apart)
        return scale + alone + log(float(state.sum())) - fsum(log(chance) for chance in self._touched_clean())

    def marginals(self) -> list[float]:
        """Probability of each fault given the evidence."""
        import numpy as np

        chances = [0.0] * len(self.odds)
        for site in self.apart:
            whole = 1 + fsum(self.odds[fault] for fault in site)
            for fault in site:
                chances[fault] = self.odds[fault] / whole
        befores = [state[..., :1, :] for state, _ in self._forward(self._no_group(1))][:-1]
        later = np.ones((*(1 for _ in range(self.widest)), 1, 1))
        for stage, before in zip(reversed(self.stages), reversed(befores), strict=True):
            for number in stage.closes:
                later = np.concatenate([later * self.clean[number], later], axis=self.axes[number])
            weights = [self.odds[f] * float((acted(before, self.touches[f]) * later).sum()) for f in stage.faults]
            whole = float((before * later).sum()) + sum(weights)
            for fault, weight in zip(stage.faults, weights, strict=True):
                chances[fault] = weight / whole
            later = later + sum(self.odds[f] * acted_back(later, self.touches[f]) for f in stage.faults)
            for number in stage.opens:
                later = later.take([0], axis=self.axes[number])
            later = later / later.max()
        return chances

    def shares(self, groups: Sequence[Collection[int]]) -> list[Share]:
        """Per group of faults, the probability of none and of any of them, all groups in one pass."""
        import numpy as np

        if not groups:
            return []
        belongs = self._no_group(len(groups))
        for row, group in enumerate(groups):
            belongs[row, list(group)] = 1
        *_, (state, _) = self._forward(belongs)
        sums = state.reshape(2, -1)
        none, some = sums / sums.sum(axis=0)
        for site in self.apart:
            odds = np.array([self.odds[fault] for fault in site])
            inside = belongs[:, list(site)] @ odds / (1 + odds.sum())
            none, some = none * (1 - inside), some + none * inside
        return [Share(none=float(a), any=float(b)) for a, b in zip(none, some, strict=True)]

    def _no_group(self, rows: int) -> Numbers:
        import numpy as np

        return np.zeros((rows, len(self.odds)))

    def _touched_clean(self) -> list[float]:
        return [self.clean[number] for stage in self.stages for number in stage.opens]

    def _forward(self, belongs: Numbers) -> Iterator[tuple[Numbers, float]]:
        """The table before each stage and after the last, with the log of what was divided out of it.

        Its last axis is the group, the one before whether a fault of that group has been.
        """
        import numpy as np

        state = np.zeros((*(1 for _ in range(self.widest)), 2, len(belongs)))
        state[..., 0, :] = 1.0
        scale = 0.0
        for stage in self.stages:
            for number in stage.opens:
                state = np.concatenate([state, np.zeros_like(state)], axis=self.axes[number])
            yield state, scale
            grown = state.copy()
            for fault in stage.faults:
                after = acted(state * self.odds[fault], self.touches[fault])
                inside = belongs[:, fault]
                grown[..., 1, :] += after[..., 1, :] + after[..., 0, :] * inside
                grown[..., 0, :] += after[..., 0, :] * (1 - inside)
            for number in stage.closes:
                shut, shown = np.split(grown, 2, axis=self.axes[number])
                grown = shut * self.clean[number] + shown
            highest = float(grown.max())
            state, scale = grown / highest, scale + log(highest)
        yield state, scale


def acted(state: Numbers, touches: Sequence[Touch]) -> Numbers:
    """The table after one fault: along each axis it touches, 0 is "not shown yet" and 1 "shown by an earlier one"."""
    state = state.copy()
    for axis, passes, shows in touches:
        pairs = _in_pairs(state, axis)
        pairs[:, 1] += shows * pairs[:, 0]
        pairs[:, 0] *= passes
    return state


def acted_back(later: Numbers, touches: Sequence[Touch]) -> Numbers:
    """The transpose of ``acted``."""
    later = later.copy()
    for axis, passes, shows in touches:
        pairs = _in_pairs(later, axis)
        pairs[:, 0] *= passes
        pairs[:, 0] += shows * pairs[:, 1]
    return later


def _in_pairs(table: Numbers, axis: int) -> Numbers:
    """A view in which the axis of one observation is the second of three."""
    return table.reshape(prod(table.shape[:axis]), 2, -1)


def _stages(order: Sequence[int], members: dict[int, list[int]], touched: dict[int, frozenset[int]]) -> Iterator[Stage]:
    first: dict[int, int] = {}
    last: dict[int, int] = {}
    for site in order:
        for number in touched[site]:
            first.setdefault(number, site)
            last[number] = site
    for site in order:
        own = sorted(touched[site])
        yield Stage(
            faults=tuple(members[site]),
            opens=tuple(number for number in own if first[number] == site),
            closes=tuple(number for number in own if last[number] == site),
        )


def _axes(stages: Sequence[Stage], count: int) -> tuple[int, ...]:
    axes, free = [0] * count, list(range(count))
    for stage in stages:
        for number in stage.opens:
            axes[number] = min(free)
            free.remove(axes[number])
        free.extend(axes[number] for number in stage.closes)
    return tuple(axes)


def _in_order(
    faults: Sequence[Fault], wrong: Sequence[Observation], touched: dict[int, frozenset[int]]
) -> list[int] | None:
    """The sites that touch something wrong; None when paths contradict each other."""
    sorter: TopologicalSorter[int] = TopologicalSorter({site: () for site, own in touched.items() if own})
    for observation in wrong:
        if all(abs(hazard.passes + hazard.shows - 1) < 1e-12 for hazard in observation.hazards):  # noqa: PLR2004
            continue  # it has two outcomes only: the order does not matter
        path = [faults[hazard.fault].site for hazard in observation.hazards]
        for before, after in pairwise(path):
            if before != after:
                sorter.add(after, before)
    try:
        sorter.prepare()
    except CycleError:
        return None
    return _narrow(sorter, touched)


def _narrow(sorter: TopologicalSorter[int], touched: dict[int, frozenset[int]]) -> list[int]:
    """Of the sites that can come next, always the one that opens the fewest observations and closes the most."""
    left: dict[int, int] = {}
    for own in touched.values():
        for number in own:
            left[number] = left.get(number, 0) + 1
    order: list[int] = []
    seen: set[int] = set()
    ready: list[int] = []
    while sorter.is_active():
        ready.extend(sorter.get_ready())
        chosen = min(ready, key=lambda site: (_cost(touched[site], seen, left), site))
        ready.remove(chosen)
        order.append(chosen)
        seen |= touched[chosen]
        for number in touched[chosen]:
            left[number] -= 1
        sorter.done(chosen)
    return order


def _cost(own: frozenset[int], seen: set[int], left: dict[int, int]) -> int:
    return len(own - seen) - sum(left[number] == 1 for number in own)
