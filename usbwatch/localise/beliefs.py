"""What is to be believed of a unit's faults, given everything that was seen and done."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import exp
from typing import TYPE_CHECKING

from usbwatch.errors import TooManyLooks
from usbwatch.localise.courses import Course, courses
from usbwatch.localise.every_set import EverySet, Share
from usbwatch.localise.evidence import evidence
from usbwatch.localise.observations import holding, observations
from usbwatch.localise.paths import Layout, lay_out
from usbwatch.localise.weighing import DEEPEST, Fault, Observation, likelihoods, log_weights
from usbwatch.model.cases import Experience
from usbwatch.model.profile import Profile
from usbwatch.model.steps import Look

if TYPE_CHECKING:
    from usbwatch.localise.weighing import Indices, Numbers

__all__ = ["Beliefs", "believe", "weighed"]


@dataclass(frozen=True, kw_only=True)
class Beliefs:
    """The posterior over fault sets. Faults are courses (``usbwatch.localise.courses``), by number."""

    layout: Layout
    courses: tuple[Course, ...]
    evidence: tuple[Observation, ...]
    """All that was weighed."""
    current: tuple[Observation, ...]
    """What holds after the last look: what it shows, and what was seen before that no step can have changed."""
    rings: tuple[tuple[Indices, Numbers], ...]
    """Per size of set: the sets, one a row, and their probabilities; with ``left_out`` they add to 1."""
    left_out: float | None
    """Probability of all other sets together, exact; None when it cannot be had, and the rings add to 1."""
    every_set: EverySet | None
    """The sums over sets of any size; None when they cannot be had (see ``EverySet.of``)."""
    looks: tuple[Look, ...] = ()
    """What it all rests on, oldest first."""
    over_all_sets: tuple[float, ...] | None = None
    """Probability of each course over sets of any size; None when it cannot be had."""

    @cached_property
    def marginals(self) -> list[float]:
        """Probability of each course: exact over all sets, else over those that were weighed."""
        if self.over_all_sets is not None:
            return list(self.over_all_sets)
        return self._among_the_weighed()

    def _among_the_weighed(self) -> list[float]:
        import numpy as np

        found = np.zeros(len(self.courses))
        for members, chances in self.rings:
            for column in members.T:
                found += np.bincount(column, chances, len(found))
        return [float(chance) for chance in found]

    def shares(self, groups: Sequence[Collection[int]]) -> list[Share]:
        """Per group of courses, the probability that none of them was taken, and that any was."""
        if self.every_set is not None and self.every_set.widest <= WIDE:
            return self.every_set.shares(groups)
        if self.every_set is not None:
            return self._shares_of_the_likely(self.every_set, groups)
        import numpy as np

        found = []
        for group in groups:
            held = np.zeros(len(self.courses), dtype=bool)
            held[list(group)] = True
            some = sum(float(chances[held[members].any(axis=1)].sum()) for members, chances in self.rings)
            none = sum(float(chances[~held[members].any(axis=1)].sum()) for members, chances in self.rings)
            found.append(Share(none=none, any=some))
        return found

    def _shares_of_the_likely(self, sums: EverySet, groups: Sequence[Collection[int]]) -> list[Share]:
        """The same, where a sum costs much: a group that is next to impossible has the sum of its marginals."""
        bounds = [sum(self.marginals[number] for number in group) for group in groups]
        exact = iter(sums.shares([group for group, bound in zip(groups, bounds, strict=True) if bound >= RARE]))
        return [next(exact) if bound >= RARE else Share(none=1 - bound, any=bound) for bound in bounds]

    def chances_of(self, sets: Sequence[Sequence[int]]) -> list[float]:
        """Per set of courses, all of one size, the probability that exactly these were taken."""
        import numpy as np

        members = np.array(sets, dtype=np.intp).reshape(len(sets), -1)
        odds = np.array([course.fault.odds for course in self.courses])
        chances = float(self.rings[0][1][0]) * odds[members].prod(axis=1)
        for each in self.evidence:
            chances = chances * likelihoods(each, members, len(self.courses)) / each.clean
        return [float(chance) for chance in chances]


WIDE = 8
"""Observations found wrong, and tied to each other, up to which every sum is worked out."""

RARE = 1e-4
"""Beyond that, a group of courses less probable than this is not told apart from the sum of its courses."""

USUAL_DEPTH = 2

LEFT_OUT_THAT_MATTERS = 0.05
"""When larger sets hold more than this together, one more fault is weighed set by set."""

LEAST_WEIGHED = 1e-7
"""A course less probable than this is weighed by itself, but in no set with others; ``left_out`` has those sets."""

LEAST_IN_THREES = 1e-4
"""The same for sets of three: one with a rarer course is far below what is listed of sets (``LEAST_PROBABILITY``)."""

MOST_FOR_THREE = 180
"""Courses with which sets of three are still weighed one by one: a million of them."""


def believe(
    profile: Profile, looks: Sequence[Look], depth: int | None = None, *, experience: Experience | None = None
) -> Beliefs:
    """What the looks tell of a unit of this profile, oldest first; at least one.

    Sets of at most ``depth`` faults (0 to 3) are weighed one by one, all
    others together. Without ``depth`` it is 2, or 3 when that matters.
    ``experience`` is what a shop's closed cases come to for this profile.
    Raises ValueError for another depth, and ``TooManyLooks`` for more than
    ``MOST_LOOKS`` of them that tell something new.
    """
    if depth is not None and not 0 <= depth <= DEEPEST:
        raise ValueError(f"depth {depth} cannot be had; give 0 to {DEEPEST} faults")
    layout = lay_out(profile, looks[-1].findings.variant, experience)
    news = looks if len(looks) <= MOST_LOOKS else _with_news(layout, looks)
    if len(news) > MOST_LOOKS:
        raise TooManyLooks(len(news), MOST_LOOKS)
    taken = courses(layout.sites, news, layout.profile)
    return weighed(layout, taken, evidence(layout, taken, news), news, depth)


MOST_LOOKS = 6
"""Looks that are weighed together: courses double with each of them. Of more, only those that tell something new."""


def _with_news(layout: Layout, looks: Sequence[Look]) -> list[Look]:
    """The looks without those that only repeat the one before, with nothing done in between: they add nothing."""
    news: list[Look] = []
    for look in looks:
        if news and not look.steps and _same(layout, news[-1], look):
            news[-1] = replace(look, steps=news[-1].steps)
        else:
            news.append(look)
    return news


def _same(layout: Layout, one: Look, other: Look) -> bool:
    return observations(layout, one.findings) == observations(layout, other.findings)


def weighed(
    layout: Layout,
    taken: tuple[Course, ...],
    told: tuple[Observation, ...],
    looks: Sequence[Look],
    depth: int | None = None,
) -> Beliefs:
    """The beliefs that courses and evidence come to; ``looks`` for what is wrong now, ``depth`` as for ``believe``."""
    faults = [course.fault for course in taken]
    sums = EverySet.of(faults, told)
    chances = None if sums is None else tuple(sums.marginals())
    sets = _weighed_sets(faults, told, USUAL_DEPTH if depth is None else depth, chances)
    rings, left_out = _scaled(sets, sums)
    matters = left_out is None or left_out > LEFT_OUT_THAT_MATTERS
    if depth is None and matters and len(_worth_weighing(chances, len(faults), DEEPEST)) <= MOST_FOR_THREE:
        rings, left_out = _scaled([*sets, _sets_of(DEEPEST, faults, told, chances)], sums)
    return Beliefs(
        layout=layout,
        courses=taken,
        evidence=told,
        current=holding(layout, taken, looks),
        rings=rings,
        left_out=left_out,
        every_set=sums,
        looks=tuple(looks),
        over_all_sets=chances,
    )


def _worth_weighing(chances: Sequence[float] | None, count: int, size: int) -> list[int]:
    """The courses, of so many, that are weighed in sets of this size; all where their chances are not known."""
    least = LEAST_IN_THREES if size == DEEPEST else LEAST_WEIGHED
    return [number for number in range(count) if chances is None or chances[number] >= least]


_Ring = tuple["Indices", "Numbers"]


def _weighed_sets(
    faults: Sequence[Fault], told: Sequence[Observation], depth: int, chances: Sequence[float] | None
) -> list[_Ring]:
    """Per size of set up to ``depth``, the sets and their log odds against the empty one."""
    found = log_weights(faults, told, min(depth, 1))
    return found + [_sets_of(size, faults, told, chances) for size in range(2, depth + 1)]


def _sets_of(size: int, faults: Sequence[Fault], told: Sequence[Observation], chances: Sequence[float] | None) -> _Ring:
    """The sets of two or three courses that are worth weighing, and their log odds."""
    import numpy as np

    kept = _worth_weighing(chances, len(faults), size)
    sets, logs = log_weights([faults[number] for number in kept], _among(told, kept), size)[size]
    return np.array(kept, dtype=np.intp)[sets], logs


def _scaled(found: Sequence[_Ring], sums: EverySet | None) -> tuple[tuple[_Ring, ...], float | None]:
    """The same sets with their probabilities; and what is left out of them."""
    import numpy as np

    highest = max(float(logs.max(initial=-np.inf)) for _, logs in found)
    among_them = highest + float(np.log(sum(float(np.exp(logs - highest).sum()) for _, logs in found)))
    total = sums.log_total() if sums is not None else among_them
    rings = tuple((sets, np.exp(logs - total)) for sets, logs in found)
    return rings, max(0.0, 1 - exp(among_them - total)) if sums is not None else None


def _among(told: Sequence[Observation], kept: Sequence[int]) -> list[Observation]:
    """The same observations with no hazards but those of the kept courses, which are numbered anew."""
    place = {number: index for index, number in enumerate(kept)}
    return [
        replace(
            each,
            hazards=tuple(
                replace(hazard, fault=place[hazard.fault]) for hazard in each.hazards if hazard.fault in place
            ),
        )
        for each in told
    ]
