"""The order of repairs: where chance per cost is the best there is, and where it is not."""

from __future__ import annotations

from itertools import permutations
from random import Random

import pytest
from support.textbook import Problem


def by_definition(problem: Problem, order: tuple[str, ...]) -> float:
    """Expected cost of the cures in an order, each paid for by the units that are still faulty."""
    left, cost = set(problem.chances), 0.0
    for cure in order:
        cost += problem.costs[cure] * sum(problem.chances[fault] for fault in left)
        left -= problem.cures[cure]
    return cost


def least(problem: Problem) -> float:
    """Over every order, and every number of cures that mends all faults."""
    names = list(problem.cures)
    orders = [order for size in range(1, len(names) + 1) for order in permutations(names, size)]
    whole = [order for order in orders if set().union(*(problem.cures[cure] for cure in order)) == set(problem.chances)]
    return min(by_definition(problem, order) for order in whole)


def one_cure_per_fault(number: int) -> Problem:
    """Six faults, six cures."""
    chance = Random(number)
    weights = [chance.uniform(0.05, 1) for _ in range(6)]
    return Problem(
        chances={f"f{place}": weight / sum(weights) for place, weight in enumerate(weights)},
        cures={f"c{place}": {f"f{place}"} for place in range(6)},
        costs={f"c{place}": chance.uniform(1, 100) for place in range(6)},
        tests={},
    )


def test_with_one_fault_and_independent_repairs_no_order_beats_chance_per_cost() -> None:
    # Kadane & Simon 1977; Heckerman, Breese & Rommelse, "Decision-theoretic troubleshooting", 1995 (abstract seen).
    # 500 instances of our own, 720 orders each.
    for number in range(500):
        problem = one_cure_per_fault(number)
        best = min(by_definition(problem, order) for order in permutations(problem.cures))
        assert problem.worth() == pytest.approx(best, rel=1e-12)


@pytest.mark.parametrize("number", range(5))
def test_the_chooser_finds_that_order(number: int) -> None:
    # The same sources.
    problem = one_cure_per_fault(number)
    assert problem.cost_when_followed() == pytest.approx(least(problem), rel=1e-12)


def test_two_repairs_that_overlap() -> None:
    # Ottosen & Jensen (source seen): two actions of unit cost that mend 0.9 and 0.8 of all units; 1 + 0.1. How much
    # the two have in common is not in the source and does not matter.
    problem = Problem(
        chances={"only the first": 0.2, "either": 0.7, "only the second": 0.1},
        cures={"first": {"only the first", "either"}, "second": {"either", "only the second"}},
        costs={"first": 1, "second": 1},
        tests={},
    )
    assert problem.worth() == pytest.approx(1.1)


DEPENDENT = Problem(
    chances={"f1": 0.20, "f2": 0.25, "f3": 0.40, "f4": 0.15},
    cures={"a1": {"f2", "f3"}, "a2": {"f1", "f2"}, "a3": {"f3", "f4"}},
    costs={"a1": 1, "a2": 1, "a3": 1},
    tests={},
)
"""The form is after Ottosen & Jensen (from memory)."""


def test_with_dependent_repairs_chance_per_cost_is_not_the_best() -> None:
    assert by_definition(DEPENDENT, ("a1", "a2", "a3")) == pytest.approx(1.50)
    assert DEPENDENT.worth() == pytest.approx(1.50)
    assert least(DEPENDENT) == by_definition(DEPENDENT, ("a3", "a2")) == pytest.approx(1.45)


def test_with_dependent_repairs_the_chooser_finds_the_best() -> None:
    # It looks one step further than the order does, and chooses again after each.
    assert DEPENDENT.cost_when_followed() == pytest.approx(1.45)
