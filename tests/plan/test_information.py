"""Bits, against a reference library; the published entropies are in ``tests/published``."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import entropy

from usbwatch.plan.foresight import Branch
from usbwatch.plan.information import (
    entropy_bits,
    expected_entropy_bits,
    information_bits,
    mutual_information_bits,
)

masses = st.one_of(st.just(0.0), st.floats(1e-6, 10))


@st.composite
def joints(draw: st.DrawFn) -> NDArray[np.float64]:
    """Two to four outcomes of two to five things, not all of them impossible."""
    rows, columns = draw(st.integers(2, 4)), draw(st.integers(2, 5))
    found = np.array(draw(st.lists(masses, min_size=rows * columns, max_size=rows * columns)))
    found[0] += 0.01
    return found.reshape(rows, columns)


@pytest.mark.properties
@settings(deadline=None)
@given(joint=joints())
def test_they_are_a_library_s(joint: NDArray[np.float64]) -> None:
    whole = joint.sum()
    of_things, of_outcomes = entropy(joint.sum(axis=0), base=2), entropy(joint.sum(axis=1), base=2)
    assert entropy_bits(joint.sum(axis=0)) == pytest.approx(of_things, abs=1e-9)
    left = sum(row.sum() / whole * entropy(row, base=2) for row in joint if row.any())
    assert expected_entropy_bits(joint) == pytest.approx(left, abs=1e-9)
    shared = of_things + of_outcomes - entropy(joint.ravel(), base=2)
    assert mutual_information_bits(joint) == pytest.approx(shared, abs=1e-9)


def test_an_answer_that_halves_four_equal_parts_tells_one_bit() -> None:
    every = np.arange(4)
    chances = np.array([0.25, 0.25, 0.0, 0.0])
    answers = [
        Branch(well=well, origins=every, masks=every.astype(np.uint64), chances=each)
        for well, each in (((), chances), (("check",), chances[::-1]))
    ]
    assert information_bits(answers, cells=every) == pytest.approx(1.0)
    assert information_bits(answers, cells=np.array([0, 1, 0, 1])) == pytest.approx(0.0)
    assert information_bits([], cells=every) == 0
