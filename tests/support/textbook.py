"""Troubleshooting problems as textbooks set them, put to the chooser: faults, cures that always work, sure answers.

The bench's own figures (a part that is bad, a meter that misleads) have no
place in such a problem: what its cures do is given outright.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import fsum

import numpy as np
from numpy.typing import NDArray

from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.courses import Course
from usbwatch.localise.fates import UNTOUCHED, Fate
from usbwatch.localise.paths import Layout
from usbwatch.localise.weighing import Fault, Hazard, Observation
from usbwatch.model import Profile
from usbwatch.model.plan import Action, Proposal
from usbwatch.model.steps import Step, StepKind
from usbwatch.model.suspects import Cure, CureKind, Site
from usbwatch.plan.candidates import Candidate
from usbwatch.plan.choosing import _Chooser
from usbwatch.plan.foresight import Foresight, branches
from usbwatch.plan.money import Prices
from usbwatch.plan.standing import Standing
from usbwatch.plan.worth import Tariff, worths

__all__ = ["Problem"]

_NEVER = 1e6
"""What a fault costs that is left: more than any cure."""


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Exactly one fault; a cure mends every fault that it names, a test answers no to every fault that it names."""

    chances: Mapping[str, float]
    cures: Mapping[str, set[str]]
    costs: Mapping[str, float]
    """Of the cures."""
    tests: Mapping[str, set[str]]
    """Each costs 1."""

    @cached_property
    def standing(self) -> Standing:
        """Where the unit stands at the start."""
        faults = list(self.chances)
        cures = tuple(Cure(kind=CureKind.REPLACE, of=name) for name in self.cures)
        return Standing(
            wrong=("unit",),
            sites=tuple(
                Site(id=f"dead:{name}", name=name, part=name, prior=chance, origin="")
                for name, chance in self.chances.items()
            ),
            numbers=tuple(range(len(faults))),
            masks=np.array([1 << place for place in range(len(faults))], dtype=np.uint64),
            chances=np.array(list(self.chances.values())),
            cures=cures,
            mends=tuple(sum(1 << faults.index(fault) for fault in mended) for mended in self.cures.values()),
            fails=(0.0,) * len(cures),
            fates={
                _step(name): tuple(_MENDED if fault in mended else UNTOUCHED for fault in faults)
                for name, mended in self.cures.items()
            },
        )

    def worth(self) -> float:
        """Cost to the end by the cures in the order of chance per cost."""
        (found,) = worths([(self.standing.masks, self.standing.chances)], self.standing, self._tariff)
        return found.expected_cost

    def ranked(self, where: Standing) -> list[Proposal]:
        """What the chooser would do next, best first."""
        chooser = _Chooser(beliefs=self._beliefs, where=where, prices=_PRICES, tariff=self._tariff)
        return chooser.ranked(self._candidates)

    def cost_when_followed(self) -> float:
        """Expected cost when the chooser is asked again after every outcome, until the unit is whole."""
        return self._followed(self.standing)

    def _followed(self, where: Standing) -> float:
        if not where.masks.any():
            return 0.0
        first = self.ranked(where)[0]
        (candidate,) = (each for each in self._candidates if (each.action, each.of) == (first.action, first.of))
        found = branches(candidate, Foresight(beliefs=self._beliefs, where=where))
        ends = [_after(where, each.masks, each.chances / each.probability) for each in found]
        return first.cost + fsum(each.probability * self._followed(end) for each, end in zip(found, ends, strict=True))

    @property
    def _tariff(self) -> Tariff:
        costs = tuple(self.costs[name] for name in self.cures)
        return Tariff(always=costs, if_mended=(0.0,) * len(costs), given_up=_NEVER)

    @cached_property
    def _beliefs(self) -> Beliefs:
        """The unit does not work, and every fault accounts for it."""
        where = self.standing
        hazards = tuple(Hazard(fault=number, passes=0.0, shows=1.0) for number in where.numbers)
        fault = Fault(site=0, odds=1.0)
        return Beliefs(
            layout=Layout(profile=Profile(id="p", name="p", source="textbook"), sites=where.sites, paths={}),
            courses=tuple(Course(site=number, acts=(True,), lasts=True, fault=fault) for number in where.numbers),
            evidence=(),
            current=(Observation(id="unit", wrong=True, clean=1e-9, hazards=hazards),),
            rings=(),
            left_out=0.0,
            every_set=None,
        )

    @cached_property
    def _candidates(self) -> Sequence[Candidate]:
        faults = list(self.chances)
        tests = (
            Candidate(
                action=Action.CHECK,
                of=name,
                words=name,
                minutes=1,
                yes=Observation(
                    id=name,
                    wrong=False,
                    clean=1.0,
                    hazards=tuple(Hazard(fault=faults.index(each), passes=0.0, shows=0.0) for each in told),
                ),
            )
            for name, told in self.tests.items()
        )
        cures = (
            Candidate(
                action=Action.FIT,
                of=name,
                words=name,
                part_cost=self.costs[name],
                minutes=0,
                step=_step(name),
            )
            for name in self.cures
        )
        return (*tests, *cures)


def _step(cure: str) -> Step:
    return Step(kind=StepKind.FIT, of=cure)


_MENDED = Fate(survives=0.0, born=0.0)

_PRICES = Prices(rate_per_minute=1.0, parts={}, minutes={}, given_up=None, never_mended=_NEVER, assumed=())


def _after(where: Standing, masks: NDArray[np.uint64], chances: NDArray[np.float64]) -> Standing:
    """The standing in one outcome: equal sets are one, and none of probability 0 is kept."""
    kept, places = np.unique(masks, return_inverse=True)
    summed = np.bincount(places.ravel(), chances).astype(np.float64)
    return replace(where, masks=kept[summed > 0], chances=summed[summed > 0])
