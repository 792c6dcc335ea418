"""Probabilities of fault sets, exact: every set of at most ``depth`` faults is weighed, and the rest of them together.

Nothing here knows laptops: a fault is a number with odds, and an observation
has a path of hazards, host side first.

The faults of a set act in the order of the path. Each one either shows (what
was observed is its doing) or passes the observation on to the next; past the
last stands the clean outcome. The first that shows wins. With two outcomes
this is the leaky noisy-OR (Pearl 1988; Heckerman 1989). An observation found
well is then a product over faults, so only what was found wrong ties faults
together, and only where two of them lie on its path: the rest is added up per
fault, once.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]
    Indices = NDArray[np.intp]

__all__ = ["DEEPEST", "Fault", "Hazard", "Observation", "likelihood", "likelihoods", "log_weights"]

DEEPEST = 3
"""Larger sets are weighed only all together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One way in which one site can have fared, other than well throughout."""

    site: int
    """Faults of the same site exclude each other."""
    odds: float
    """Against the site's having been well throughout; above 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """What one fault does to one observation."""

    fault: int
    passes: float
    """Probability that it lets the observation pass."""
    shows: float
    """Probability that what was observed is its doing; 0 for what was found well."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One outcome, and how probable it is under each fault. No probability of an outcome is 0."""

    id: str
    wrong: bool
    """Whether it was found other than well."""
    clean: float
    """Probability of this outcome with no fault on the path."""
    hazards: tuple[Hazard, ...]
    """Host side first."""


def likelihood(observation: Observation, faults: Collection[int]) -> float:
    """Probability of what was observed when exactly these faults act."""
    shown, passing = 0.0, 1.0
    for hazard in observation.hazards:
        if hazard.fault in faults:
            shown += passing * hazard.shows
            passing *= hazard.passes
    return shown + passing * observation.clean


def likelihoods(observation: Observation, members: Indices, count: int) -> Numbers:
    """``likelihood`` for many sets at once: the sets stand one a row, of ``count`` faults in all."""
    import numpy as np

    beyond = len(observation.hazards)
    place = np.full(count, beyond, dtype=np.intp)
    place[[hazard.fault for hazard in observation.hazards]] = np.arange(beyond)
    passes = np.array([*(hazard.passes for hazard in observation.hazards), 1.0])
    shows = np.array([*(hazard.shows for hazard in observation.hazards), 0.0])
    chance = np.full(len(members), observation.clean)
    for column in np.sort(place[members], axis=1).T[::-1]:
        chance = shows[column] + passes[column] * chance
    return chance


def log_weights(
    faults: Sequence[Fault], observations: Sequence[Observation], depth: int
) -> list[tuple[Indices, Numbers]]:
    """Per size of set up to ``depth``: the sets, one a row, and their log odds against the empty set."""
    import numpy as np

    ties = _Ties.of(faults, observations, depth)
    rings = [(np.zeros((1, 0), dtype=np.intp), np.zeros(1)), (np.arange(len(faults))[:, None], ties.alone)]
    if depth >= 2:  # noqa: PLR2004
        rings.append(_pairs(ties))
    if depth >= DEEPEST:
        rings.append(_triples(ties))
    return rings[: depth + 1]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ties:
    """Log odds against the empty set: of each fault alone, and what faults on one wrong path owe each other."""

    alone: Numbers
    pairs: Numbers
    """Symmetric; minus infinity where two faults exclude each other; empty where single faults were asked for."""
    triples: tuple[Indices, Numbers]
    """What three on one wrong path owe beyond what each two of them do: places and amounts."""

    @classmethod
    def of(cls, faults: Sequence[Fault], observations: Sequence[Observation], depth: int) -> _Ties:
        import numpy as np

        count = len(faults)
        alone = np.log([fault.odds for fault in faults]) if faults else np.zeros(0)
        pairs = np.zeros((count, count)) if depth > 1 else np.zeros((0, 0))
        places, amounts = [np.zeros((0, 3), dtype=np.intp)], [np.zeros(0)]
        for observation in observations:
            path = np.array([hazard.fault for hazard in observation.hazards], dtype=np.intp)
            passes = np.array([hazard.passes for hazard in observation.hazards])
            if not observation.wrong:
                alone[path] += np.log(passes)
                continue
            tie = _Tie.of(observation, passes)
            alone[path] += tie.first
            if depth > 1:
                pairs[np.ix_(path, path)] += tie.second
            if depth >= DEEPEST:
                places.append(np.sort(path[_three_of(len(path))], axis=1))
                amounts.append(tie.third())
        if depth > 1:
            sites = np.array([fault.site for fault in faults], dtype=np.intp)
            pairs[sites[:, None] == sites[None, :]] = -np.inf
        return cls(alone=alone, pairs=pairs, triples=(np.concatenate(places), np.concatenate(amounts)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tie:
    """What one wrong observation adds for faults on its path, by their positions, ascending."""

    clean: float
    shows: Numbers
    passes: Numbers
    two: Numbers
    """Its probability under each two faults."""
    first: Numbers
    second: Numbers

    @classmethod
    def of(cls, observation: Observation, passes: Numbers) -> _Tie:
        import numpy as np

        shows = np.array([hazard.shows for hazard in observation.hazards])
        one = shows + passes * observation.clean
        two = shows[:, None] + passes[:, None] * one[None, :]
        second = np.triu(np.log(two * observation.clean / (one[:, None] * one[None, :])), 1)
        return cls(
            clean=observation.clean,
            shows=shows,
            passes=passes,
            two=two,
            first=np.log(one / observation.clean),
            second=second + second.T,
        )

    def third(self) -> Numbers:
        """For each three, in the order of ``_three_of``."""
        import numpy as np

        a, b, c = _three_of(len(self.passes)).T
        three = np.log((self.shows[a] + self.passes[a] * self.two[b, c]) / self.clean)
        alone = self.first[a] + self.first[b] + self.first[c]
        owed: Numbers = self.second[a, b] + self.second[a, c] + self.second[b, c]
        return np.asarray(three - alone - owed)


@lru_cache(maxsize=64)
def _two_of(count: int) -> Indices:
    """All ascending pairs of numbers below ``count``, one a row."""
    import numpy as np

    return np.stack(np.triu_indices(count, 1), axis=1)


@lru_cache(maxsize=64)
def _three_of(count: int) -> Indices:
    """All ascending triples of numbers below ``count``, one a row, in lexical order."""
    import numpy as np

    pairs = _two_of(count)
    later = count - 1 - pairs[:, 1]
    rows = np.repeat(np.arange(len(pairs)), later)
    within = np.arange(len(rows)) - np.repeat(np.cumsum(later) - later, later)
    return np.column_stack([pairs[rows], pairs[rows, 1] + 1 + within])


def _pairs(ties: _Ties) -> tuple[Indices, Numbers]:
    members = _two_of(len(ties.alone))
    a, b = members[:, 0], members[:, 1]
    return members, ties.alone[a] + ties.alone[b] + ties.pairs[a, b]


def _triples(ties: _Ties) -> tuple[Indices, Numbers]:
    import numpy as np

    count = len(ties.alone)
    members = _three_of(count)
    half = (ties.pairs + (ties.alone[:, None] + ties.alone[None, :]) / 2).ravel()
    a, b, c = _flat(count)
    weights = half[a] + half[b] + half[c]
    places, amounts = ties.triples
    if len(places):
        np.add.at(weights, _rank(places, count), amounts)
    return members, weights


@lru_cache(maxsize=4)
def _flat(count: int) -> tuple[Indices, Indices, Indices]:
    """Where the three pairs of every triple stand in a flattened table of pairs."""
    a, b, c = _three_of(count).T
    return a * count + b, a * count + c, b * count + c


def _rank(triples: Indices, count: int) -> Indices:
    """Rows of ascending triples in ``_three_of(count)``."""
    a, b, c = triples[:, 0], triples[:, 1], triples[:, 2]

    def choose3(n: Indices) -> Indices:
        return n * (n - 1) * (n - 2) // 6

    def choose2(n: Indices) -> Indices:
        return n * (n - 1) // 2

    total = count * (count - 1) * (count - 2) // 6
    return total - choose3(count - a) + choose2(count - 1 - a) - choose2(count - b) + (c - b - 1)
