"""The chooser on problems that are small enough to be solved to the optimum."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from math import fsum
from random import Random
from statistics import fmean

import pytest
from support.textbook import Problem

Faults = frozenset[str]


def optimum(problem: Problem) -> float:
    """Least expected cost to a whole unit, over every policy of tests and cures: dynamic programming."""

    def steps(left: Faults) -> Iterator[tuple[float, tuple[Faults, ...]]]:
        for told in problem.tests.values():
            if left & told and left - told:
                yield 1.0, (left & told, left - told)
        for name, mended in problem.cures.items():
            if left & mended:
                yield problem.costs[name], (left - mended,)

    @cache
    def least(left: Faults) -> float:
        if not left:
            return 0.0
        mass = fsum(problem.chances[fault] for fault in left)
        return min(mass * cost + fsum(map(least, ends)) for cost, ends in steps(left))

    return least(frozenset(problem.chances))


def bench_like(number: int, dearest: float) -> Problem:
    """Four to seven faults with a cure each and two that mend several, and a few tests; a test costs 1."""
    chance = Random(number)
    faults = [f"f{place}" for place in range(chance.randint(4, 7))]
    weights = [chance.random() ** chance.choice((1, 2, 3)) + 1e-3 for _ in faults]
    cures = {f"c-{fault}": {fault} for fault in faults}
    cures |= {f"several-{place}": set(chance.sample(faults, chance.randint(2, 3))) for place in range(2)}
    return Problem(
        chances={fault: weight / fsum(weights) for fault, weight in zip(faults, weights, strict=True)},
        cures=cures,
        costs={name: chance.uniform(5, dearest) for name in cures},
        tests={f"t{place}": set(chance.sample(faults, chance.randint(1, 3))) for place in range(chance.randint(2, 5))},
    )


@pytest.mark.parametrize("dearest", [5, 20, 100])
def test_it_comes_within_one_percent_of_the_optimum(dearest: float) -> None:
    problems = [bench_like(number, dearest) for number in range(60)]
    ratios = [problem.cost_when_followed() / optimum(problem) for problem in problems]
    assert min(ratios) > 1 - 1e-9  # or one of the two is not what it says
    assert fmean(ratios) < 1.01
