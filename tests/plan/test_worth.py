"""What a state of belief costs to the end, against arithmetic and a published example."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from usbwatch.model.suspects import Cure, CureKind, Site
from usbwatch.plan.standing import Standing
from usbwatch.plan.worth import Tariff, worths

NEVER = 1e9


def standing(faults: Sequence[float], mends: Sequence[Sequence[int]], fails: float = 0.0) -> Standing:
    """One fault at a time with these chances, the rest on "nothing wrong"; cures by what they mend."""
    sites = tuple(Site(id=f"dead:f{n}", name="", part=f"p{n}", prior=0.1, origin="") for n in range(len(faults)))
    return Standing(
        wrong=(),
        sites=sites,
        numbers=tuple(range(len(faults))),
        masks=np.array([0, *(1 << n for n in range(len(faults)))], dtype=np.uint64),
        chances=np.array([1 - sum(faults), *faults]),
        cures=tuple(Cure(kind=CureKind.REPLACE, of=f"a{n}") for n in range(len(mends))),
        mends=tuple(sum(1 << n for n in each) for each in mends),
        fails=(fails,) * len(mends),
        fates={},
    )


def cost(where: Standing, costs: Sequence[float], given_up: float = NEVER, without: int = 0) -> float:
    """Of the standing, less the fault sets of ``without``, not divided by what is left."""
    chances = np.where(where.masks & np.uint64(without), 0.0, where.chances)
    tariff = Tariff(always=tuple(costs), if_mended=(0.0,) * len(costs), given_up=given_up)
    (end,) = worths([(where.masks, chances)], where, tariff)
    return end.expected_cost


def test_two_actions_of_efficiency_nine_and_eight_tenths() -> None:
    # Ottosen & Jensen, example A5b of the collected literature (source seen): the expected cost of repair is 1.1.
    # The second action is taken when the first has failed, and then mends for certain here: nobody gives up.
    assert cost(standing([0.9, 0.1], [[0], [1]]), [1, 1]) == pytest.approx(1.1)


def test_dependent_repairs_by_chance_per_cost_alone_and_by_looking_one_step_ahead() -> None:
    # Form after Ottosen & Jensen (from memory): by chance per cost 1.50 (a1, a2, a3), while the optimum is 1.45
    # (a3, a2). Taking the first step by its cost and by what follows finds the optimum.
    where = standing([0.20, 0.25, 0.40, 0.15], [[1, 2], [0, 1], [2, 3]])
    assert cost(where, [1, 1, 1]) == pytest.approx(1.50)
    ahead = [1 + cost(where, [1, 1, 1], without=mask) for mask in where.mends]
    assert min(ahead) == pytest.approx(1.45)
    assert ahead.index(min(ahead)) == 2


@pytest.mark.properties
@settings(deadline=None)
@given(
    weights=st.lists(st.integers(1, 9), min_size=2, max_size=5),
    costs=st.lists(st.integers(1, 9), min_size=5, max_size=5),
)
def test_single_faults_with_repairs_of_their_own_cost_the_least_of_all_orders(
    weights: list[int], costs: list[int]
) -> None:
    # Kadane & Simon 1977: with one fault and independent repairs no order beats chance per cost.
    faults = [weight / sum(weights) for weight in weights]
    where = standing(faults, [[n] for n in range(len(faults))])
    least = min(
        sum(costs[cure] * sum(faults[other] for other in order[place:]) for place, cure in enumerate(order))
        for order in permutations(range(len(faults)))
    )
    assert cost(where, costs[: len(faults)]) == pytest.approx(least)


@pytest.mark.parametrize(
    ("given_up", "expected"),
    [
        (4, 4),  # 5 + 0.2 * 4 is more: stop at once
        (100, 5 + 0.2 * (5 + 0.2 * 100)),  # twice, for a new part can be bad; then never again
    ],
    ids=["not worth it", "twice"],
)
def test_a_cure_that_can_fail_is_tried_again_while_that_pays(given_up: float, expected: float) -> None:
    assert cost(standing([1.0], [[0]], fails=0.2), [5], given_up) == pytest.approx(expected)


def test_a_fault_that_no_cure_reaches_ends_in_giving_up() -> None:
    # The cure comes first (0.7 of 10 saved 100 each), then 0.3 give up.
    assert cost(standing([0.7, 0.3], [[0]]), [10], 100) == pytest.approx(10 + 0.3 * 100)


def test_where_nothing_is_wrong_nothing_is_spent() -> None:
    where = standing([0.0], [[0]])
    (end,) = worths([(where.masks, where.chances)], where, Tariff(always=(10,), if_mended=(0,), given_up=100))
    assert (end.expected_cost, end.stops) == (0, False)


def test_two_faults_need_both_cures() -> None:
    both = standing([0.0, 0.0], [[0], [1]])
    tariff = Tariff(always=(10, 20), if_mended=(0, 0), given_up=100)
    (end,) = worths([(np.array([3], dtype=np.uint64), np.array([1.0]))], both, tariff)
    assert end.expected_cost == pytest.approx(30)


def test_a_part_on_trial_is_paid_for_only_when_it_is_the_cure() -> None:
    # Two look-alikes, one on the shelf: 5 for the trial, and its price of 50 in four of ten cases; else 60.
    where = standing([0.4, 0.6], [[0], [1]])
    (end,) = worths([(where.masks, where.chances)], where, Tariff(always=(5, 60), if_mended=(50, 0), given_up=1000))
    assert end.expected_cost == pytest.approx(5 + 0.4 * 50 + 0.6 * 60)


def test_what_is_free_comes_first_and_divides_nothing_by_zero() -> None:
    assert cost(standing([0.1, 0.9], [[0], [1]]), [0, 10], 100) == pytest.approx(0.9 * 10)
    assert cost(standing([0.1, 0.9], [[0], [1]]), [0, 0], 100) == 0


def test_states_are_reckoned_together_as_they_are_one_by_one() -> None:
    where = standing([0.2, 0.3, 0.4], [[0], [1], [2]], fails=0.02)
    tariff = Tariff(always=(3, 4, 5), if_mended=(0, 0, 0), given_up=20)
    states = [
        (where.masks, where.chances),
        (where.masks[1:3], where.chances[1:3]),
        (where.masks[3:], where.chances[3:]),
    ]
    assert worths(states, where, tariff) == [worths([each], where, tariff)[0] for each in states]
