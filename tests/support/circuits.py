"""Small circuits, diagnosed by definition: every set of faulty gates and every value that a faulty gate can give."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

__all__ = ["Circuit", "Gate", "minimal", "nand"]


@dataclass(frozen=True, kw_only=True)
class Gate:
    """One component: its output wire is a function of its input wires."""

    name: str
    of: Callable[..., int]
    inputs: tuple[str, ...]
    output: str


def nand(left: int, right: int) -> int:
    return 1 - (left & right)


@dataclass(frozen=True, kw_only=True)
class Circuit:
    """Gates in the order of the signal, what is fed in, what is seen, and the values that a wire can have."""

    gates: Sequence[Gate]
    given: Mapping[str, int]
    seen: Mapping[str, int]
    domain: Sequence[int] = (0, 1)

    def subsets(self) -> list[frozenset[str]]:
        """Every set of gates, small ones first."""
        names = [gate.name for gate in self.gates]
        return [frozenset(each) for size in range(len(names) + 1) for each in combinations(names, size)]

    def worlds(self, faulty: Collection[str]) -> list[dict[str, int]]:
        """Every assignment to the wires that agrees with what is seen; a faulty gate can give any value."""
        free = [gate.output for gate in self.gates if gate.name in faulty]
        choices = [[self.seen[wire]] if wire in self.seen else self.domain for wire in free]
        settled = (self._settled(dict(zip(free, values, strict=True))) for values in product(*choices))
        return [wires for wires in settled if all(wires[wire] == value for wire, value in self.seen.items())]

    def _settled(self, forced: Mapping[str, int]) -> dict[str, int]:
        wires = {**self.given}
        for gate in self.gates:
            sound = gate.of(*(wires[wire] for wire in gate.inputs))
            wires[gate.output] = forced.get(gate.output, sound)
        return wires

    def conflicts(self) -> list[frozenset[str]]:
        """Minimal sets of gates that cannot all be sound."""
        every = {gate.name for gate in self.gates}
        return minimal(each for each in self.subsets() if not self.worlds(every - each))

    def diagnoses(self) -> list[frozenset[str]]:
        """Minimal sets of gates whose being faulty agrees with what is seen."""
        return minimal(each for each in self.subsets() if self.worlds(each))


def minimal(sets: Iterable[frozenset[str]]) -> list[frozenset[str]]:
    """Those that contain no other one."""
    kept: list[frozenset[str]] = []
    for each in sorted(sets, key=len):
        if not any(smaller <= each for smaller in kept):
            kept.append(each)
    return kept
