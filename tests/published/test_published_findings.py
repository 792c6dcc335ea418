"""Ten diseases and seven findings by quickscore, by enumeration, and by the product's sums over all sets."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import chain, combinations
from math import exp, prod
from random import Random

import pytest

from usbwatch.localise.every_set import EverySet
from usbwatch.localise.weighing import Fault, Hazard, Observation

CAUSES, POSITIVE, NEGATIVE = 10, 4, 3


@dataclass(frozen=True, kw_only=True)
class Network:
    """Priors of the causes; per finding, how surely each cause brings it about, and how often nothing does."""

    priors: list[Fraction]
    strengths: list[dict[int, Fraction]]
    leaks: list[Fraction]

    def absent(self, finding: int, causes: frozenset[int]) -> Fraction:
        """Probability that a finding is negative: noisy-OR."""
        reached = (1 - chance for cause, chance in self.strengths[finding].items() if cause in causes)
        return prod(reached, start=1 - self.leaks[finding])


def network(number: int) -> Network:
    """An instance of our own; all figures are in thousandths."""
    chance = Random(number)

    def share(least: int, most: int) -> Fraction:
        return Fraction(chance.randint(least, most), 1000)

    return Network(
        priors=[share(10, 300) for _ in range(CAUSES)],
        strengths=[
            {cause: share(50, 900) for cause in sorted(chance.sample(range(CAUSES), chance.randint(1, CAUSES)))}
            for _ in range(POSITIVE + NEGATIVE)
        ],
        leaks=[share(1, 100) for _ in range(POSITIVE + NEGATIVE)],
    )


def subsets(things: range) -> list[frozenset[int]]:
    sizes = range(len(things) + 1)
    return [frozenset(each) for each in chain.from_iterable(combinations(things, size) for size in sizes)]


def by_enumeration(of: Network) -> dict[frozenset[int], Fraction]:
    """Every set of causes with its probability together with the findings."""
    joint = {}
    for causes in subsets(range(CAUSES)):
        chances = (chance if cause in causes else 1 - chance for cause, chance in enumerate(of.priors))
        prior = prod(chances, start=Fraction(1))
        absent = [of.absent(finding, causes) for finding in range(POSITIVE + NEGATIVE)]
        joint[causes] = prior * prod(1 - each for each in absent[:POSITIVE]) * prod(absent[POSITIVE:])
    return joint


def by_quickscore(of: Network, certain: int | None = None) -> Fraction:
    """Probability of the findings, together with one cause: inclusion and exclusion over the positive ones."""
    total = Fraction(0)
    for included in subsets(range(POSITIVE)):
        denied = [*included, *range(POSITIVE, POSITIVE + NEGATIVE)]
        term = prod(1 - of.leaks[finding] for finding in denied)
        for cause, prior in enumerate(of.priors):
            spared = prod(1 - of.strengths[finding].get(cause, 0) for finding in denied)
            term *= prior * spared + (0 if cause == certain else 1 - prior)
        total += (-1) ** len(included) * term
    return total


def by_product(of: Network) -> EverySet:
    seen = [
        Observation(
            id=f"finding {finding}",
            wrong=finding < POSITIVE,
            clean=float(of.leaks[finding] if finding < POSITIVE else 1 - of.leaks[finding]),
            hazards=tuple(
                Hazard(fault=cause, passes=float(1 - chance), shows=float(chance) if finding < POSITIVE else 0.0)
                for cause, chance in of.strengths[finding].items()
            ),
        )
        for finding in range(POSITIVE + NEGATIVE)
    ]
    faults = [Fault(site=cause, odds=float(prior / (1 - prior))) for cause, prior in enumerate(of.priors)]
    sums = EverySet.of(faults, seen)
    assert sums is not None
    return sums


@pytest.mark.parametrize("number", range(8))
def test_quickscore_is_enumeration(number: int) -> None:
    # Heckerman, "A tractable inference algorithm for diagnosing multiple diseases", 1989 (abstract seen, formula from
    # memory). In fractions, for the sum alternates: the two are equal, not close.
    of = network(number)
    joint = by_enumeration(of)
    assert by_quickscore(of) == sum(joint.values())
    for cause in range(CAUSES):
        assert by_quickscore(of, cause) == sum(chance for causes, chance in joint.items() if cause in causes)


@pytest.mark.parametrize("number", range(40))
def test_the_product_is_quickscore_to_fourteen_digits(number: int) -> None:
    # The same source. The product divides by the empty set, so that is multiplied in again.
    of = network(number)
    whole = by_quickscore(of)
    sums = by_product(of)
    expected = [float(by_quickscore(of, cause) / whole) for cause in range(CAUSES)]
    assert sums.marginals() == pytest.approx(expected, rel=1e-14, abs=0)
    empty = prod(1 - prior for prior in of.priors) * prod(of.leaks[:POSITIVE])
    empty *= prod(1 - leak for leak in of.leaks[POSITIVE:])
    assert float(empty) * exp(sums.log_total()) == pytest.approx(float(whole), rel=1e-14, abs=0)
