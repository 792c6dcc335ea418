"""Conflicts, minimal diagnoses and hitting sets, against the examples in print and against a library.

The circuits are diagnosed by definition (``support.circuits``); what is under
test is that the hitting sets of their conflicts are their diagnoses.
"""

from __future__ import annotations

from itertools import product
from operator import add, and_, mul, or_, xor
from random import Random

import pytest
from pysat.examples.hitman import Hitman
from support.circuits import Circuit, Gate, nand

from usbwatch.localise.hitting_sets import minimal_hitting_sets


def hitting_sets(circuit: Circuit) -> set[frozenset[str]]:
    """The hitting sets of a circuit's conflicts, by the names of the gates."""
    names = [gate.name for gate in circuit.gates]
    found = minimal_hitting_sets([[names.index(name) for name in each] for each in circuit.conflicts()])
    return {frozenset(names[number] for number in each) for each in found}


def sets(words: str) -> set[frozenset[str]]:
    """``"X1 A2, X2"`` is {X1, A2} and {X2}."""
    return {frozenset(each.split()) for each in words.split(",")}


def gates(rows: str) -> list[Gate]:
    """``"M1 mul A C X"``: a gate, what it does, its input wires, its output wire; one a line."""
    kinds = {"nand": nand, "and": and_, "or": or_, "xor": xor, "mul": mul, "add": add}
    made = []
    for name, kind, *inputs, output in map(str.split, rows.strip().splitlines()):
        made.append(Gate(name=name, of=kinds[kind], inputs=tuple(inputs), output=output))
    return made


FULL_ADDER = gates("""
X1 xor a b h
X2 xor h carry-in sum
A1 and a b g
A2 and carry-in h p
O1 or g p carry
""")

POLYBOX = gates("""
M1 mul A C X
M2 mul B D Y
M3 mul C E Z
A1 add X Y F
A2 add Y Z G
""")

C17 = gates("""
G10 nand 1 3 10
G11 nand 3 6 11
G16 nand 2 11 16
G19 nand 11 7 19
G22 nand 10 16 22
G23 nand 16 19 23
""")


def test_the_full_adder() -> None:
    # Reiter, "A theory of diagnosis from first principles", 1987 (from memory).
    adder = Circuit(
        gates=FULL_ADDER,
        given={"a": 1, "b": 0, "carry-in": 1},
        seen={"sum": 1, "carry": 0},
    )
    assert set(adder.conflicts()) == sets("X1 X2, X1 A2 O1")
    assert hitting_sets(adder) == set(adder.diagnoses()) == sets("X1, X2 A2, X2 O1")


def test_seven_conflicts_over_six_components() -> None:
    # Reiter 1987, the HS-tree example (from memory).
    family = [{2, 4, 5}, {1, 2, 3}, {1, 3, 5}, {2, 4, 6}, {2, 4}, {2, 3, 5}, {1, 6}]
    found = minimal_hitting_sets(family)
    assert [sorted(each) for each in found] == [[1, 2], [1, 3, 4], [1, 4, 5], [2, 3, 6], [2, 5, 6], [3, 4, 6]]
    assert minimal_hitting_sets(family, most=2) == found[:1]


def test_the_polybox() -> None:
    # de Kleer & Williams, "Diagnosing multiple faults", 1987 (source seen, through a lecture that quotes it).
    # No product that agrees with what is seen lies outside 0 to 12.
    polybox = Circuit(
        gates=POLYBOX,
        given={"A": 3, "B": 2, "C": 2, "D": 3, "E": 3},
        seen={"F": 10, "G": 12},
        domain=range(13),
    )
    assert set(polybox.conflicts()) == sets("A1 M1 M2, A1 A2 M1 M3")
    assert hitting_sets(polybox) == set(polybox.diagnoses()) == sets("A1, M1, M2 A2, M2 M3")


def test_the_benchmark_circuit_c17() -> None:
    # ISCAS-85, the smallest circuit (from memory); every wrong output pair for each of the 32 inputs. The counts
    # are our own, by brute force.
    conflicts, diagnoses, single, equal = 0, 0, 0, 0
    for inputs in product((0, 1), repeat=5):
        given = dict(zip("12367", inputs, strict=True))
        (sound,) = Circuit(gates=C17, given=given, seen={}).worlds(())
        for seen in product((0, 1), repeat=2):
            if seen == (sound["22"], sound["23"]):
                continue
            circuit = Circuit(gates=C17, given=given, seen={"22": seen[0], "23": seen[1]})
            found = circuit.diagnoses()
            conflicts += len(circuit.conflicts())
            diagnoses += len(found)
            single += sum(len(each) == 1 for each in found)
            equal += hitting_sets(circuit) == set(found)
    assert (conflicts, diagnoses, single, equal) == (196, 399, 158, 96)


def random_family(number: int) -> list[list[int]]:
    """Up to 14 sets of up to six of up to 14 things."""
    chance = Random(number)
    things = range(1, chance.randint(3, 14) + 1)
    return [chance.sample(things, chance.randint(1, min(len(things), 6))) for _ in range(chance.randint(1, 14))]


def by_library(family: list[list[int]]) -> set[frozenset[int]]:
    with Hitman(bootstrap_with=family, htype="sorted") as hitman:
        return {frozenset(each) for each in hitman.enumerate()}


def test_two_hundred_random_families_have_the_hitting_sets_of_a_library() -> None:
    # python-sat, its enumerator of minimal hitting sets by maximum satisfiability.
    for number in range(200):
        family = random_family(number)
        found = minimal_hitting_sets(family)
        assert len(set(found)) == len(found)
        assert set(found) == by_library(family), family


@pytest.mark.parametrize("most", [0, 1, 2, 3])
def test_a_limit_leaves_out_the_larger_ones_and_nothing_else(most: int) -> None:
    for number in range(50):
        family = random_family(number)
        assert minimal_hitting_sets(family, most) == tuple(
            each for each in minimal_hitting_sets(family) if len(each) <= most
        )
