"""Probabilities of fault sets, exact: every set of at most ``depth`` faults is weighed.

Nothing here knows laptops: sites are numbers with a prior, and an observation
has a path of hazards, host side first.

The faults of a set act in the order of the path. Each one either shows (what
was observed is its doing) or passes the observation on to the next; past the
last stands the clean outcome. The first that shows wins. With two outcomes
this is the leaky noisy-OR (Pearl 1988; Heckerman 1989). An observation found
well is then a product over faults, so only what was found wrong ties faults
together, and only where two of them lie on its path: the rest is added up per
site, once.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from math import exp, fsum, log

__all__ = ["FaultSet", "Hazard", "Observation", "likelihood", "posterior"]

FaultSet = tuple[int, ...]
"""Numbers of the failed sites, ascending; empty: none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """What one site does to one observation when it has failed."""

    site: int
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
    """Probability of what was observed when exactly these sites have failed."""
    shown, passing = 0.0, 1.0
    for hazard in observation.hazards:
        if hazard.site in faults:
            shown += passing * hazard.shows
            passing *= hazard.passes
    return shown + passing * observation.clean


def posterior(priors: Sequence[float], observations: Sequence[Observation], depth: int) -> dict[FaultSet, float]:
    """Probability of every set of at most ``depth`` faults given the observations; they add to 1.

    Priors lie strictly between 0 and 1. Raises ValueError for a negative depth.
    """
    if depth < 0:
        raise ValueError(f"depth {depth} is negative; give 0 or more faults")
    evidence = _Evidence.of(priors, observations)
    logs: dict[FaultSet, float] = {(): 0.0}
    ring: list[FaultSet] = [()]
    for _ in range(min(depth, len(priors))):
        grown = {larger: weight for faults in ring for larger, weight in evidence.grow(faults, logs[faults])}
        logs |= grown
        ring = list(grown)
    highest = max(logs.values())
    weights = [exp(value - highest) for value in logs.values()]
    total = fsum(weights)
    return {faults: weight / total for faults, weight in zip(logs, weights, strict=True)}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Evidence:
    """Log odds against the empty set: per site, and what sites on one wrong path owe each other."""

    alone: list[float]
    """Of the set that holds this site alone."""
    spoils: list[frozenset[int]]
    """Per site, the wrong observations that it lies on the path of."""
    wrong: list[Observation]

    @classmethod
    def of(cls, priors: Sequence[float], observations: Sequence[Observation]) -> _Evidence:
        alone = [log(prior / (1 - prior)) for prior in priors]
        spoils: list[set[int]] = [set() for _ in priors]
        wrong = [observation for observation in observations if observation.wrong]
        for observation in observations:
            for hazard in observation.hazards:
                alone[hazard.site] += log(likelihood(observation, (hazard.site,)) / observation.clean)
        for number, observation in enumerate(wrong):
            for hazard in observation.hazards:
                spoils[hazard.site].add(number)
        return cls(alone=alone, spoils=[frozenset(each) for each in spoils], wrong=wrong)

    def grow(self, faults: FaultSet, weight: float) -> Iterator[tuple[FaultSet, float]]:
        """The set and log odds of ``faults`` with each later site added."""
        spoilt = frozenset().union(*(self.spoils[site] for site in faults))
        for site in range(faults[-1] + 1 if faults else 0, len(self.alone)):
            shared = self.spoils[site] & spoilt
            owed = sum([self._interaction(self.wrong[number], faults, site) for number in shared]) if shared else 0.0
            yield (*faults, site), weight + self.alone[site] + owed

    @staticmethod
    def _interaction(observation: Observation, faults: FaultSet, site: int) -> float:
        """How much one more fault on the path explains beyond what ``faults`` and it explain apart."""
        together = likelihood(observation, (*faults, site)) * observation.clean
        apart = likelihood(observation, faults) * likelihood(observation, (site,))
        return log(together / apart)
