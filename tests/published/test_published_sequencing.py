"""Which test to make first, and next: the example on which information gain is 31 % above the optimum."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from heapq import heapify, heappop, heappush
from math import fsum

import numpy as np
import pytest
from support.textbook import Problem

from usbwatch.plan.information import entropy_bits

CHANCES = (0.70, 0.01, 0.02, 0.10, 0.05, 0.12)
ROWS = ("00000", "01001", "00110", "10011", "11000", "11110")
"""Per state, the outcome of each of five tests. Pattipati & Alexandridis 1990 (from memory)."""

States = frozenset[int]
EVERY: States = frozenset(range(len(ROWS)))


def split(states: States, test: int) -> tuple[States, States]:
    """The states by the outcome of a test."""
    ones = frozenset(state for state in states if ROWS[state][test] == "1")
    return states - ones, ones


def chance(states: States) -> float:
    return fsum(CHANCES[state] for state in states)


def telling(states: States) -> list[int]:
    return [test for test in range(len(ROWS[0])) if all(split(states, test))]


@cache
def optimum(states: States) -> float:
    """The least expected number of tests that tells the states apart, by dynamic programming: the definition."""
    if len(states) == 1:
        return 0.0
    return min(chance(states) + fsum(map(optimum, split(states, test))) for test in telling(states))


def followed(states: States, choose: Callable[[States], int]) -> float:
    """Expected number of tests when a rule chooses each."""
    if len(states) == 1:
        return 0.0
    return chance(states) + fsum(followed(each, choose) for each in split(states, choose(states)))


def most_informative(states: States) -> int:
    def left(test: int) -> float:
        return fsum(
            chance(each) * entropy_bits(np.array([CHANCES[state] for state in each])) for each in split(states, test)
        )

    return min(telling(states), key=left)


def huffman_bound() -> float:
    """Expected number of tests if every question could be asked (Huffman 1952)."""
    heap = list(CHANCES)
    heapify(heap)
    total = 0.0
    while len(heap) > 1:
        both = heappop(heap) + heappop(heap)
        total += both
        heappush(heap, both)
    return total


def test_the_figures_of_the_example() -> None:
    # The optimum is the source's; the others are our own.
    assert optimum(EVERY) == pytest.approx(2.18)
    assert followed(EVERY, most_informative) == pytest.approx(2.86)
    assert huffman_bound() == pytest.approx(1.59)
    assert entropy_bits(np.array(CHANCES)) == pytest.approx(1.4549, abs=5e-5)


@pytest.mark.parametrize("named", ["t0 t1 t2 t3 t4", "t4 t3 t2 t1 t0"], ids=["as printed", "backwards"])
def test_the_chooser_reaches_the_optimum(named: str) -> None:
    # A cure for each state, so dear beside a test that none is tried before its state is told from all others: what
    # is spent beyond one cure is then the number of tests. Two first tests have the same expected total, and so
    # have others later on; the one that tells more goes before, and names do not matter.
    cure = 1000.0
    names = [f"s{state}" for state in range(len(ROWS))]
    problem = Problem(
        chances=dict(zip(names, CHANCES, strict=True)),
        cures={f"cure {name}": {name} for name in names},
        costs={f"cure {name}": cure for name in names},
        tests={
            called: {name for name, row in zip(names, ROWS, strict=True) if row[test] == "1"}
            for test, called in enumerate(named.split())
        },
    )
    assert problem.cost_when_followed() - cure == pytest.approx(optimum(EVERY))
