"""Where to probe next: entropies of the examples in print, by the product's own figures for information."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import fsum, prod
from operator import add, mul

import numpy as np
import pytest
from numpy.typing import NDArray
from support.circuits import Circuit, Gate

from usbwatch.plan.information import entropy_bits, expected_entropy_bits, mutual_information_bits

Numbers = NDArray[np.float64]
"""A joint distribution: a row per outcome of a probe, a column per set of faulty gates."""


def prior(circuit: Circuit, faulty: Iterable[str], chances: Mapping[str, float]) -> float:
    names = [gate.name for gate in circuit.gates]
    return prod(chances[name] if name in faulty else 1 - chances[name] for name in names)


POLYBOX = Circuit(
    gates=(
        Gate(name="M1", of=mul, inputs=("A", "C"), output="X"),
        Gate(name="M2", of=mul, inputs=("B", "D"), output="Y"),
        Gate(name="M3", of=mul, inputs=("C", "E"), output="Z"),
        Gate(name="A1", of=add, inputs=("X", "Y"), output="F"),
        Gate(name="A2", of=add, inputs=("Y", "Z"), output="G"),
    ),
    given={"A": 3, "B": 2, "C": 2, "D": 3, "E": 3},
    seen={"F": 10, "G": 12},
    domain=range(13),
)


def polybox_beliefs() -> dict[frozenset[str], float]:
    """Every set of faulty gates that agrees with what is seen, by its prior."""
    chances = dict.fromkeys(("M1", "M2", "M3", "A1", "A2"), 0.01)
    weights = {each: prior(POLYBOX, each, chances) for each in POLYBOX.subsets() if POLYBOX.worlds(each)}
    total = fsum(weights.values())
    return {each: weight / total for each, weight in weights.items()}


def polybox_probe(wire: str) -> Numbers:
    """Outcomes are the values that some set predicts; a set that predicts none is spread over them evenly."""
    beliefs = polybox_beliefs()
    values = {each: {world[wire] for world in POLYBOX.worlds(each)} for each in beliefs}
    named = sorted({min(each) for each in values.values() if len(each) == 1})
    return np.array(
        [
            [
                chance / len(named) if len(values[each]) > 1 else chance * (values[each] == {value})
                for each, chance in beliefs.items()
            ]
            for value in named
        ]
    )


def test_beliefs_in_the_polybox() -> None:
    # The scheme is that of de Kleer & Williams, "Diagnosing multiple faults", 1987 (from memory); the figures are
    # our own.
    beliefs = polybox_beliefs()
    assert entropy_bits(np.array(list(beliefs.values()))) == pytest.approx(1.3594, abs=5e-5)
    assert beliefs[frozenset({"A1"})] == pytest.approx(0.478, abs=5e-4)
    assert beliefs[frozenset({"M1"})] == pytest.approx(0.478, abs=5e-4)


@pytest.mark.parametrize(("wire", "left"), [("X", 0.3646), ("Y", 1.2801), ("Z", 1.3146)])
def test_probing_the_polybox(wire: str, left: float) -> None:
    # The same: X is the place to probe.
    joint = polybox_probe(wire)
    assert expected_entropy_bits(joint) == pytest.approx(left, abs=5e-5)
    assert mutual_information_bits(joint) == pytest.approx(1.35945 - left, abs=1e-4)


def inverters() -> Circuit:
    """Four in series; 1 goes in, and 0 comes out where 1 should."""
    wires = ["in", "a", "b", "c", "out"]
    chain = tuple(
        Gate(name=name, of=lambda value: 1 - value, inputs=(before,), output=after)
        for name, before, after in zip("ABCD", wires, wires[1:], strict=False)
    )
    return Circuit(gates=chain, given={"in": 1}, seen={"out": 0})


def inverters_probe(wire: str, chances: Mapping[str, float]) -> Numbers:
    """A faulty inverter gives 0 or 1, either as often as the other."""
    circuit = inverters()
    worlds = [(each, circuit.worlds(each)) for each in circuit.subsets()]
    return np.array(
        [
            [
                prior(circuit, each, chances) * 0.5 ** len(each) * sum(world[wire] == value for world in agreeing)
                for each, agreeing in worlds
            ]
            for value in (0, 1)
        ]
    )


ALIKE = dict.fromkeys("ABCD", 0.01)
D_WORSE = ALIKE | {"D": 0.025}


def test_beliefs_in_four_inverters() -> None:
    # The example of the GDE family; the priors' figures: source seen, in a thesis. What follows is our own.
    assert prior(inverters(), "", ALIKE) == pytest.approx(0.960596, abs=5e-7)
    assert [prior(inverters(), name, ALIKE) for name in "ABCD"] == pytest.approx([0.00970299] * 4, abs=5e-9)
    # The output is a probe like any other: of its two outcomes, 0 was seen.
    chances = inverters_probe("out", ALIKE)[0]
    single = [place for place, each in enumerate(inverters().subsets()) if len(each) == 1]
    assert chances[single] / chances.sum() == pytest.approx([0.2462] * 4, abs=5e-5)
    assert entropy_bits(chances) == pytest.approx(2.1221, abs=5e-5)


@pytest.mark.parametrize(
    ("chances", "left"),
    [
        pytest.param(ALIKE, {"a": 1.3184, "b": 1.1322, "c": 1.3184}, id="alike: probe the middle"),
        pytest.param(D_WORSE, {"a": 1.3282, "b": 1.0708, "c": 1.0219}, id="the last one worse: probe before it"),
    ],
)
def test_probing_four_inverters(chances: Mapping[str, float], left: Mapping[str, float]) -> None:
    # The same example; the figures are our own.
    found = {wire: expected_entropy_bits(inverters_probe(wire, chances)) for wire in left}
    assert found == pytest.approx(left, abs=6e-5)


def test_a_probe_whose_outcome_is_known_tells_nothing() -> None:
    assert mutual_information_bits(inverters_probe("out", ALIKE)[:1]) == pytest.approx(0, abs=1e-12)
    assert mutual_information_bits(inverters_probe("in", ALIKE)) == pytest.approx(0, abs=1e-12)


def test_a_probe_that_settles_everything_tells_all_there_is() -> None:
    assert mutual_information_bits(np.diag([0.5, 0.25, 0.25])) == pytest.approx(1.5)
