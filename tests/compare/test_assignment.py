"""The best one-to-one pairing."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from usbwatch.compare.assignment import assign

UNMATCHED = 100

Costs = dict[tuple[int, str], int]

SMALL = st.dictionaries(
    st.tuples(st.integers(0, 3), st.sampled_from("abcd")), st.integers(-5, UNMATCHED + 5), max_size=16
)


def total(costs: Costs, matched: dict[int, str]) -> int:
    """What a pairing costs, over all left items that have a pair to make."""
    lefts = {left for left, _ in costs}
    return sum(costs[left, matched[left]] if left in matched else UNMATCHED for left in lefts)


def least_by_trying_all(costs: Costs) -> int:
    lefts, rights = sorted({left for left, _ in costs}), sorted({right for _, right in costs})
    choices = itertools.product([*rights, None], repeat=len(lefts))
    pairings = ({left: right for left, right in zip(lefts, choice, strict=True) if right} for choice in choices)
    return min(
        total(costs, pairing)
        for pairing in pairings
        if len(set(pairing.values())) == len(pairing) and all(pair in costs for pair in pairing.items())
    )


def least_by_scipy(costs: Costs) -> int:
    """The reference: a dense table in which each left item has a column of its own for staying alone."""
    lefts, rights = sorted({left for left, _ in costs}), sorted({right for _, right in costs})
    forbidden = 10**6
    table = [[costs.get((left, right), forbidden) for right in rights] + [UNMATCHED] * len(lefts) for left in lefts]
    rows, columns = linear_sum_assignment(table)
    return int(sum(table[row][column] for row, column in zip(rows, columns, strict=True)))


@pytest.mark.parametrize(
    ("costs", "matched"),
    [
        pytest.param({}, {}, id="nothing to pair"),
        pytest.param({(1, "a"): 0}, {1: "a"}, id="one pair"),
        pytest.param({(1, "a"): 1, (1, "b"): 2, (2, "a"): 3, (2, "b"): 90}, {1: "b", 2: "a"}, id="greedy is wrong"),
        pytest.param({(1, "a"): 5, (2, "a"): 4}, {2: "a"}, id="the cheaper of two has it"),
        pytest.param({(1, "a"): 0, (1, "b"): 49, (2, "a"): 49}, {1: "b", 2: "a"}, id="two fair pairs beat a good one"),
        pytest.param({(1, "a"): 0, (1, "b"): 51, (2, "a"): 51}, {1: "a"}, id="a good pair beats two poor ones"),
        pytest.param({(1, "a"): UNMATCHED - 1}, {1: "a"}, id="just worth making"),
        pytest.param({(1, "a"): UNMATCHED}, {}, id="not worth making"),
        pytest.param({(1, "a"): -3, (2, "a"): -4, (2, "b"): -1}, {1: "a", 2: "b"}, id="less than nothing"),
        pytest.param({(2, "a"): 1, (1, "a"): 1, (1, "b"): 1, (2, "b"): 1}, {1: "a", 2: "b"}, id="ties go by order"),
    ],
)
def test_the_pairing_of_least_cost(costs: Costs, matched: dict[int, str]) -> None:
    assert assign(costs, unmatched=UNMATCHED) == matched


def test_a_chain_of_devices_gives_way_to_the_last_free_place() -> None:
    chain = {(place, place): 1 for place in range(50)} | {(place, place + 1): 2 for place in range(50)} | {(-1, 0): 0}
    assert assign(chain, unmatched=1000) == {-1: 0} | {place: place + 1 for place in range(50)}


@pytest.mark.properties
@given(SMALL)
def test_no_pairing_is_cheaper_tried_one_by_one(costs: Costs) -> None:
    assert total(costs, assign(costs, unmatched=UNMATCHED)) == least_by_trying_all(costs)


@pytest.mark.properties
@given(SMALL)
def test_pairs_are_allowed_ones_and_each_item_has_one(costs: Costs) -> None:
    matched = assign(costs, unmatched=UNMATCHED)
    assert len(set(matched.values())) == len(matched)
    assert all(costs[pair] < UNMATCHED for pair in matched.items())


@pytest.mark.properties
@given(SMALL, st.randoms(use_true_random=False))
def test_the_order_of_the_costs_does_not_matter(costs: Costs, shuffler: random.Random) -> None:
    shuffled = list(costs.items())
    shuffler.shuffle(shuffled)
    assert assign(dict(shuffled), unmatched=UNMATCHED) == assign(costs, unmatched=UNMATCHED)


@pytest.mark.parametrize("seed", range(40))
def test_the_total_is_that_of_the_reference_library(seed: int) -> None:
    draw = random.Random(seed)
    size, density, spread = draw.randint(1, 60), draw.choice([0.05, 0.3, 1.0]), draw.choice([3, 60, 140])
    costs = {
        (left, str(right)): draw.randint(0, spread)
        for left in range(size)
        for right in range(draw.randint(1, 60))
        if draw.random() < density
    }
    assert total(costs, assign(costs, unmatched=UNMATCHED)) == (least_by_scipy(costs) if costs else 0)


def test_a_crowded_bus_is_paired_while_one_waits() -> None:
    draw = random.Random(7)
    costs = {(left, str(right)): draw.randint(0, 90) for left in range(120) for right in range(120)}
    matched = assign(costs, unmatched=UNMATCHED)
    assert total(costs, matched) == least_by_scipy(costs)
