"""Where a unit stands: what can be wrong now, reduced to the faults that matter for the money.

A fault matters when it accounts for something that was found wrong. What else
may be wrong with the unit is as probable as in any other one, and no reason
to take it apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from usbwatch.localise.arguments import accounts_for
from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.fates import BAD_PART, Fate, fates
from usbwatch.localise.weighing import Observation
from usbwatch.model.steps import Step, StepKind
from usbwatch.model.suspects import Cure, CureKind, Site

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]
    Indices = NDArray[np.intp]
    Masks = NDArray[np.uint64]

__all__ = ["MOST_SITES", "STEP_OF_CURE", "Standing", "standing"]

MOST_SITES = 62
"""Sites that one 64-bit word holds; the likeliest are kept."""

STEP_OF_CURE = {
    CureKind.RESEAT: StepKind.RESEAT,
    CureKind.REPLACE: StepKind.FIT,
    CureKind.RELOAD: StepKind.RELOAD,
    CureKind.DRAIN: StepKind.DRAIN,
}


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Sets of relevant faults, each a bit mask over ``sites``, with their probabilities; together 1."""

    wrong: tuple[str, ...]
    """Ids of what is wrong now; where all is well by now, of what was."""
    sites: tuple[Site, ...]
    numbers: tuple[int, ...]
    """The same sites as numbers of the layout."""
    masks: Masks
    chances: Numbers
    cures: tuple[Cure, ...]
    mends: tuple[int, ...]
    """Per cure, the mask of the sites that it mends."""
    fails: tuple[float, ...]
    """Per cure, how often it leaves the unit as it was: a bad part, a connector that is not seated."""
    fates: dict[Step, tuple[Fate, ...]]
    """What the step of each cure does to each site of the layout."""
    reckoned_without: tuple[str, ...] = ()
    """Sentences on what may be wrong and is in no set, where that can matter."""

    @cached_property
    def of_part(self) -> dict[str, int]:
        """Per part, the mask of its sites."""
        found: dict[str, int] = {}
        for place, site in enumerate(self.sites):
            found[site.part] = found.get(site.part, 0) | 1 << place
        return found

    @cached_property
    def cells(self) -> Indices:
        """Per set, a number for which parts are at fault in it."""
        import numpy as np

        held = [np.where(self.masks & np.uint64(mask), 1, 0) for mask in self.of_part.values()]
        key = sum((column << place for place, column in enumerate(held)), np.zeros(len(self.masks), dtype=np.int64))
        cells: Indices = np.unique(key, return_inverse=True)[1].ravel()
        return cells

    def chance_of(self, mask: int) -> float:
        """Probability that at least one of these sites has failed."""
        import numpy as np

        return float(self.chances[(self.masks & np.uint64(mask)) != 0].sum())


def standing(beliefs: Beliefs) -> Standing:
    """Where the unit stands after the last look."""
    wrong = [each for each in beliefs.current if each.wrong] or [each for each in beliefs.evidence if each.wrong]
    numbers = _relevant(beliefs, wrong)
    masks, chances, left = _sets(beliefs, numbers)
    kept = tuple(beliefs.layout.sites[number] for number in numbers)
    cures = tuple(dict.fromkeys(site.cure for site in kept if site.cure is not None))
    steps = [Step(kind=STEP_OF_CURE[cure.kind], of=cure.of) for cure in cures]
    told = {step: fates(beliefs.layout.sites, step, beliefs.layout.profile) for step in steps}
    mended = [_mended(cure, step, told[step], numbers, kept) for cure, step in zip(cures, steps, strict=True)]
    return Standing(
        wrong=tuple(dict.fromkeys(each.id for each in wrong)),
        sites=kept,
        numbers=numbers,
        masks=masks,
        chances=chances,
        cures=cures,
        mends=tuple(mask for mask, _ in mended),
        fails=tuple(fails for _, fails in mended),
        fates=told,
        reckoned_without=left,
    )


def _relevant(beliefs: Beliefs, wrong: Iterable[Observation]) -> tuple[int, ...]:
    found = {
        beliefs.courses[hazard.fault].site
        for each in wrong
        for hazard in each.hazards
        if accounts_for((hazard.fault,), each, beliefs)
    }
    if len(found) > MOST_SITES:
        chances = dict.fromkeys(found, 0.0)
        for course, chance in zip(beliefs.courses, beliefs.marginals, strict=True):
            if course.site in chances:
                chances[course.site] += chance
        found = set(sorted(found, key=lambda number: -chances[number])[:MOST_SITES])
    return tuple(sorted(found))


_MOST_SETS, _LEAST_CHANCE, _LEAST_BY_ITSELF = 400, 1e-6, 1e-8
"""Sets that are looked ahead from: the likeliest, and none so rare beside it that it could change a choice."""

_MUCH_LEFT_OUT = 0.2
"""Probability of larger sets from which on it is said that no cost reckons with them."""


def _sets(beliefs: Beliefs, numbers: tuple[int, ...]) -> tuple[Masks, Numbers, tuple[str, ...]]:
    """The sets of relevant faults that last, equal ones added up, in the order of their masks; together 1.

    And what is to be said of those that are left out.
    """
    import numpy as np

    bit = {number: 1 << place for place, number in enumerate(numbers)}
    of_course = np.array(
        [bit.get(course.site, 0) if course.lasts else 0 for course in beliefs.courses], dtype=np.uint64
    )
    parts: list[tuple[Masks, Numbers]] = []
    highest = max((float(chances.max(initial=0.0)) for _, chances in beliefs.rings), default=0.0)
    if highest < np.finfo(float).tiny:  # sets so small have next to no chance: all together would come to nothing wrong
        return _one_by_one(beliefs, numbers)
    for members, chances in beliefs.rings:
        rows = np.flatnonzero(chances >= _LEAST_BY_ITSELF * highest)
        parts.append((np.bitwise_or.reduce(of_course[members[rows]], axis=1, initial=0), chances[rows]))
    masks, places = np.unique(np.concatenate([each for each, _ in parts]).astype(np.uint64), return_inverse=True)
    summed = np.bincount(places.ravel(), np.concatenate([each for _, each in parts]))
    order = np.argsort(-summed, kind="stable")[:_MOST_SETS]
    order = np.sort(order[summed[order] >= _LEAST_CHANCE * summed.sum()])
    return masks[order], summed[order] / summed[order].sum(), _left_out(beliefs)


def _left_out(beliefs: Beliefs) -> tuple[str, ...]:
    most = len(beliefs.rings) - 1
    if beliefs.left_out is None:
        said = f"How likely more faults at once than {most} are could not be worked out"
    elif beliefs.left_out > _MUCH_LEFT_OUT:
        said = f"More faults at once than {most} are likely ({100 * beliefs.left_out:.0f}%)"
    else:
        return ()
    return (f"{said}: the costs reckon with the likeliest sets only.",)


def _one_by_one(beliefs: Beliefs, numbers: tuple[int, ...]) -> tuple[Masks, Numbers, tuple[str, ...]]:
    """Each relevant fault by itself, where no set of few can be told from an impossible one."""
    import numpy as np

    chances = dict.fromkeys(numbers, 0.0)
    for course, chance in zip(beliefs.courses, beliefs.marginals, strict=True):
        if course.lasts and course.site in chances:
            chances[course.site] += chance
    masks = np.array([1 << place for place in range(len(numbers))], dtype=np.uint64)
    shares = np.array(list(chances.values()))
    said = "So many faults at once are likely that no set of them is weighed: the costs reckon with one at a time."
    return masks, shares / shares.sum(), (said,)


def _mended(
    cure: Cure, step: Step, told: Sequence[Fate], numbers: Sequence[int], sites: Sequence[Site]
) -> tuple[int, float]:
    """The mask of what a cure mends more often than not, and how often it fails at that."""
    mask, fails = 0, BAD_PART.get(step.kind, 0.0)
    for place, (number, site) in enumerate(zip(numbers, sites, strict=True)):
        if told[number].survives < _EVEN:
            mask |= 1 << place
            if site.cure == cure:
                fails = max(fails, told[number].survives)
    return mask, fails


_EVEN = 0.5
