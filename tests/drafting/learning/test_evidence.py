"""The arithmetic of counting against published figures and a reference library."""

from __future__ import annotations

from math import comb, exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import betabinom, binomtest

from usbwatch.drafting.learning.assumptions import Beta
from usbwatch.drafting.learning.evidence import chances, explains, together, wilson

NEWCOMBE = {
    (81, 263): (0.2553, 0.3662),
    (15, 148): (0.0624, 0.1605),
    (0, 20): (0.0, 0.1611),
    (1, 29): (0.0061, 0.1718),
}
"""R. G. Newcombe, Two-sided confidence intervals for the single proportion: comparison of seven methods,
Statistics in Medicine 17 (1998) 857-872, table I, method 3 (the score interval of Wilson 1927)."""


@pytest.mark.parametrize("counted", NEWCOMBE)
def test_the_score_interval_of_published_examples(counted: tuple[int, int]) -> None:
    assert tuple(round(end, 4) for end in wilson(*counted)) == NEWCOMBE[counted]


COUNTS = st.integers(1, 2000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of)))


@pytest.mark.properties
@given(COUNTS)
def test_the_score_interval_is_that_of_the_reference_library(counted: tuple[int, int]) -> None:
    """scipy.stats.binomtest(...).proportion_ci(method="wilson")."""
    yes, of = counted
    theirs = binomtest(yes, of).proportion_ci(0.95, method="wilson")
    assert wilson(yes, of) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_of_nothing_nothing_is_known() -> None:
    assert wilson(0, 0) == (0.0, 1.0)


@pytest.mark.properties
@given(COUNTS, st.floats(0.5, 50), st.floats(0.5, 500))
def test_how_well_a_belief_explains_is_the_beta_binomial(counted: tuple[int, int], yes: float, no: float) -> None:
    """scipy.stats.betabinom, less the number of orders, which is the same for all beliefs."""
    there, of = counted
    theirs = betabinom.logpmf(there, of, yes, no) - log(comb(of, there))
    assert explains(there, of - there, Beta(yes=yes, no=no)) == pytest.approx(theirs, rel=1e-6, abs=1e-6)


@pytest.mark.properties
@given(st.lists(st.floats(-200, 0), min_size=1, max_size=8))
def test_chances_make_one_and_keep_their_order(logs: list[float]) -> None:
    found = chances({str(number): one for number, one in enumerate(logs)})
    assert sum(found.values()) == pytest.approx(1)
    best = max(range(len(logs)), key=lambda number: logs[number])
    assert found[str(best)] == max(found.values())
    assert exp(together(logs) - max(logs)) == pytest.approx(sum(exp(one - max(logs)) for one in logs))
