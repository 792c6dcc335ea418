"""What the plays of many units come to: costs by policy, and how far probabilities can be taken at their word."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from math import sqrt

from benchmarks.bench_simulator.anatomy import Anatomy
from benchmarks.bench_simulator.bench import Result, play, told
from benchmarks.bench_simulator.engine import Engine
from benchmarks.bench_simulator.layouts import Layout
from benchmarks.bench_simulator.policies import OURS, POLICIES
from benchmarks.bench_simulator.tables import World
from benchmarks.bench_simulator.unit import draw
from usbwatch.model import PartKind

__all__ = ["Claim", "Interval", "Scores", "bins", "calibration_error", "mean", "played", "worst_bin"]

Claim = tuple[float, bool]
"""A probability that was given, and whether it was so."""


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
        for name in ("told", "first", "every", "later", "later_every", "squares", "ranks", "part_ranks"):
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
                _judge(result, engine, scores, lambda part: far.get(part, part))
            scores.results[policy].append(replace(result, histories=()))
    return scores


def _judge(result: Result, engine: Engine, scores: Scores, assembly: Callable[[str], str]) -> None:
    history, faulty = result.histories[0]
    ranking = engine.ranking(history)
    scores.first.append((ranking.parts[0][1], ranking.parts[0][0] in faulty))
    every = [(chance, part in faulty) for part, chance in ranking.parts]
    scores.every.extend(every)
    scores.squares.append(sum((chance - truth) ** 2 for chance, truth in every))
    in_assemblies = {assembly(part) for part in faulty}
    scores.ranks.append(_rank([name for name, _ in ranking.assemblies], in_assemblies))
    scores.part_ranks.append(_rank([name for name, _ in ranking.parts], faulty))
    for history, faulty in result.histories[1:]:
        if history[-1].step:
            ranking = engine.ranking(history)
            scores.later.append((ranking.parts[0][1], ranking.parts[0][0] in faulty))
            scores.later_every.extend((chance, part in faulty) for part, chance in ranking.parts)


def _rank(names: Sequence[str], right: Iterable[str]) -> int:
    places = [place for place, name in enumerate(names, 1) if name in set(right)]
    return min(places, default=0)


Bin = tuple[float, float, int]
"""Mean of what was said, share of what was so, and number of cases."""


def bins(claims: Sequence[Claim]) -> list[Bin | None]:
    """The claims in tenths of probability; None for an empty tenth."""
    tenths: list[list[Claim]] = [[] for _ in range(10)]
    for claim in claims:
        tenths[min(9, int(claim[0] * 10))].append(claim)
    return [
        (sum(said for said, _ in each) / len(each), sum(so for _, so in each) / len(each), len(each)) if each else None
        for each in tenths
    ]


def calibration_error(claims: Sequence[Claim]) -> float:
    """Expected calibration error over tenths: the mean gap of said and so, weighted by cases."""
    found = [each for each in bins(claims) if each is not None]
    return sum(abs(said - so) * count for said, so, count in found) / max(1, len(claims))


def worst_bin(claims: Sequence[Claim], well_filled: int) -> float:
    """The largest gap of said and so in a tenth with so many cases."""
    return max((abs(said - so) for said, so, count in filter(None, bins(claims)) if count >= well_filled), default=0.0)
