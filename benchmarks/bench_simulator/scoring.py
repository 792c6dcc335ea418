"""What the plays of many units come to: costs by policy, and how far probabilities can be taken at their word."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from math import sqrt
from typing import NamedTuple

from benchmarks.bench_simulator.anatomy import Anatomy
from benchmarks.bench_simulator.bench import Result, play, told
from benchmarks.bench_simulator.engine import Engine
from benchmarks.bench_simulator.layouts import Layout
from benchmarks.bench_simulator.policies import OURS, POLICIES
from benchmarks.bench_simulator.tables import World
from benchmarks.bench_simulator.unit import draw
from usbwatch.model import PartKind

__all__ = ["CLAIMS", "NUMBERS", "Bin", "Claim", "Interval", "Scores", "bins", "calibration_error", "mean", "played"]


class Claim(NamedTuple):
    """A probability that was given, and whether it was so."""

    said: float
    so: bool
    unit: str
    """Claims about one unit are not independent."""


CLAIMS = ("first", "every", "later", "later_every")
NUMBERS = ("told", "squares", "ranks", "part_ranks")
"""The fields of ``Scores`` that hold claims, and numbers."""


@dataclass(slots=True)
class Scores:
    """All that is kept of the units of one layout in one world."""

    told: list[float] = field(default_factory=list)
    """Cost per unit when the faults are told."""
    results: dict[str, list[Result]] = field(default_factory=dict)
    """By policy, one per unit, on the same units."""
    first: list[Claim] = field(default_factory=list)
    """The first suspect after the first capture."""
    every: list[Claim] = field(default_factory=list)
    """Every part after the first capture."""
    later: list[Claim] = field(default_factory=list)
    """The first suspect after each step of our policy that left something wrong."""
    later_every: list[Claim] = field(default_factory=list)
    squares: list[float] = field(default_factory=list)
    """Per unit, the summed square error over parts after the first capture (Brier 1950)."""
    ranks: list[int] = field(default_factory=list)
    """At which place the first truly faulty subassembly stood; 0 for none."""
    part_ranks: list[int] = field(default_factory=list)
    """The same with every link for itself."""

    def add(self, other: Scores) -> None:
        """Take in the scores of further units."""
        for policy, results in other.results.items():
            self.results.setdefault(policy, []).extend(results)
        for name in (*CLAIMS, *NUMBERS):
            getattr(self, name).extend(getattr(other, name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A mean with its 95 % interval (normal approximation)."""

    mean: float
    half: float


def mean(values: Sequence[float]) -> Interval:
    """The mean of some values; of fewer than two, an interval of infinite width."""
    count = len(values)
    middle = sum(values) / count if count else 0.0
    if count < 2:  # noqa: PLR2004
        return Interval(mean=middle, half=float("inf"))
    variance = sum((value - middle) ** 2 for value in values) / (count - 1)
    return Interval(mean=middle, half=1.96 * sqrt(variance / count))


def played(layout: Layout, world: World, units: Iterable[int], seed: int, engine: Engine) -> Scores:
    """Draw units and let every policy repair each of them."""
    anatomy = Anatomy.of(layout.profile, layout.often_unseen, world, seed)
    scores = Scores(results={policy: [] for policy in POLICIES})
    far = {part.id: part.joins[1] for part in layout.profile.parts if part.kind is PartKind.LINK}
    for number in units:
        name = f"{seed} {layout.profile.id} {world.name} {number}"
        unit = draw(anatomy, name)
        scores.told.append(told(unit))
        for policy, choose in POLICIES.items():
            result = play(unit.again(f"{name} play"), choose, engine)
            if policy == OURS:
                _judge(result, engine, scores, lambda part: far.get(part, part), f"{layout.profile.id} {number}")
            scores.results[policy].append(replace(result, histories=()))
    return scores


def _judge(result: Result, engine: Engine, scores: Scores, assembly: Callable[[str], str], unit: str) -> None:
    history, faulty = result.histories[0]
    ranking = engine.ranking(history)
    every = [Claim(chance, part in faulty, unit) for part, chance in ranking.parts]
    scores.first.append(every[0])
    scores.every.extend(every)
    scores.squares.append(sum((claim.said - claim.so) ** 2 for claim in every))
    in_assemblies = {assembly(part) for part in faulty}
    scores.ranks.append(_rank([name for name, _ in ranking.assemblies], in_assemblies))
    scores.part_ranks.append(_rank([name for name, _ in ranking.parts], faulty))
    for history, faulty in result.histories[1:]:
        if history[-1].step:
            every = [Claim(chance, part in faulty, unit) for part, chance in engine.ranking(history).parts]
            scores.later.append(every[0])
            scores.later_every.extend(every)


def _rank(names: Sequence[str], right: Iterable[str]) -> int:
    places = [place for place, name in enumerate(names, 1) if name in set(right)]
    return min(places, default=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """The claims in one tenth of probability."""

    tenth: int
    said: float
    """Mean of what was said."""
    so: float
    """Share of what was so."""
    half: float
    """Half the 95 % interval of the gap between them, claims about one unit taken as one draw (a cluster sample)."""
    cases: int
    units: int

    @property
    def off(self) -> float:
        """How far apart they are."""
        return abs(self.said - self.so)


def bins(claims: Sequence[Claim]) -> list[Bin]:
    """The claims by tenths of probability, empty ones left out."""
    tenths: dict[int, list[Claim]] = {}
    for claim in claims:
        tenths.setdefault(min(9, int(claim.said * 10)), []).append(claim)
    return [_bin(tenth, tenths[tenth]) for tenth in sorted(tenths)]


def _bin(tenth: int, claims: Sequence[Claim]) -> Bin:
    count = len(claims)
    said, so = sum(claim.said for claim in claims) / count, sum(claim.so for claim in claims) / count
    gaps: dict[str, float] = {}
    for claim in claims:
        gaps[claim.unit] = gaps.get(claim.unit, 0.0) + (claim.so - claim.said) - (so - said)
    half = 1.96 * sqrt(sum(gap**2 for gap in gaps.values())) / count
    return Bin(tenth=tenth, said=said, so=so, half=half, cases=count, units=len(gaps))


def calibration_error(claims: Sequence[Claim]) -> float:
    """Expected calibration error over tenths: the mean gap of said and so, weighted by cases."""
    return sum(each.off * each.cases for each in bins(claims)) / max(1, len(claims))
