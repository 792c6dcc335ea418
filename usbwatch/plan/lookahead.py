"""Candidates with their outcomes, and what each outcome costs to the end.

An outcome's cost is that of the cures in the order of chance per cost, or of
stopping (``usbwatch.plan.worth``). For the candidates that come out first it
is looked one observation further: where asking something before the first of
those cures costs less, that counts. So a step whose failure leaves a question
worth asking is not taken for one after which all is lost.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from usbwatch.plan.candidates import Candidate
from usbwatch.plan.foresight import Branch, Foresight, branches, working
from usbwatch.plan.information import information_bits
from usbwatch.plan.money import Prices
from usbwatch.plan.standing import Standing
from usbwatch.plan.worth import Tariff, Worth, worths

if TYPE_CHECKING:
    from usbwatch.plan.standing import Masks, Numbers

__all__ = ["LEAST_BITS", "LOOKED_FURTHER", "Weighed", "weighed"]

LEAST_BITS = 0.02
"""An observation that is expected to tell less than this, in bits, is not worth a person's time."""

LOOKED_FURTHER = 6
"""Candidates whose outcomes are looked at one observation further."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A candidate, its outcomes, and what each of them costs to the end."""

    candidate: Candidate
    cost: float
    """Of the candidate itself."""
    branches: list[Branch]
    ends: list[Worth]
    information_bits: float

    @property
    def total(self) -> float:
        """Expected cost to the end, but for what a step can break and a part on trial."""
        return self.cost + sum(end.expected_cost for end in self.ends)


def weighed(every: Sequence[Candidate], ahead: Foresight, tariff: Tariff, prices: Prices) -> list[Weighed]:
    """Every candidate, in the order given; all outcomes of all of them are reckoned to the end at once."""
    found = [branches(each, ahead) for each in every]
    ends = iter(worths([(branch.masks, branch.chances) for each in found for branch in each], ahead.where, tariff))
    first = [
        Weighed(
            candidate=candidate,
            cost=candidate.part_cost + prices.of_minutes(candidate.minutes),
            branches=each,
            ends=[next(ends) for _ in each],
            information_bits=information_bits(each, ahead.where.cells),
        )
        for candidate, each in zip(every, found, strict=True)
    ]
    open_ = [each for each in first if each.candidate.yes is not None and each.information_bits >= LEAST_BITS]
    best = sorted(first, key=lambda each: each.total)[:LOOKED_FURTHER]
    further = dict(zip(map(id, best), _further(best, open_, ahead.where, tariff), strict=True))
    return [further.get(id(each), each) for each in first]


def _further(best: Sequence[Weighed], open_: Sequence[Weighed], where: Standing, tariff: Tariff) -> list[Weighed]:
    """The same, each outcome at the cost of the best observation before the cures where that is less."""
    asked: list[tuple[int, int, float]] = []
    states: list[tuple[Masks, Numbers]] = []
    for number, one in enumerate(best):
        for place, (branch, end) in enumerate(zip(one.branches, one.ends, strict=True)):
            for cost, pair in _answers(branch, end, [each for each in open_ if each is not one], where):
                asked.append((number, place, cost))
                states += pair
    ends = [list(one.ends) for one in best]
    reckoned = iter(worths(states, where, tariff))
    for number, place, cost in asked:
        total = cost + next(reckoned).expected_cost + next(reckoned).expected_cost
        if total < ends[number][place].expected_cost:
            ends[number][place] = Worth(expected_cost=total, stops=False)
    return [replace(one, ends=own) for one, own in zip(best, ends, strict=True)]


def _answers(
    branch: Branch, end: Worth, open_: Sequence[Weighed], where: Standing
) -> Iterator[tuple[float, list[tuple[Masks, Numbers]]]]:
    """Per observation that can pay after this outcome, what asking costs there, and the beliefs after yes and no."""
    import numpy as np

    paying = [each for each in open_ if each.cost * branch.probability < end.expected_cost]
    if not paying:
        return
    masks, places = np.unique(branch.masks, return_inverse=True)
    chances = np.bincount(places.ravel(), branch.chances)
    asked = [each.candidate.yes for each in paying if each.candidate.yes is not None]
    for each, works in zip(paying, working(asked, where, masks), strict=True):
        yes = chances * works
        yield each.cost * branch.probability, [(masks, yes), (masks, chances - yes)]
