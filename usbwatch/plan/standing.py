"""Where a unit stands: what can be wrong now, reduced to the faults that matter for the money.

A fault matters when it accounts for something that was found wrong. What else
may be wrong with the unit is as probable as in any other one, and no reason
to take it apart.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from usbwatch.localise.arguments import accounts_for
from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.fates import BAD_PART, Fate, fates
from usbwatch.localise.likely_sets import likely_sets
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
    def place(self) -> dict[int, int]:
        """Per number of the layout, its place in ``sites``."""
        return {number: place for place, number in enumerate(self.numbers)}

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

    @cached_property
    def sound(self) -> dict[str, float]:
        """Per part, the probability that none of its sites has failed."""
        import numpy as np

        return {
            part: float(self.chances[(self.masks & np.uint64(mask)) == 0].sum()) for part, mask in self.of_part.items()
        }


def standing(beliefs: Beliefs) -> Standing:
    """Where the unit stands after the last look."""
    wrong = [each for each in beliefs.current if each.wrong] or [each for each in beliefs.evidence if each.wrong]
    every = _relevant(beliefs, wrong)
    numbers = _likeliest(beliefs, every)
    masks, chances = _sets(beliefs, numbers)
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
        reckoned_without=_reckoned_without(beliefs, every, numbers),
    )


def _relevant(beliefs: Beliefs, wrong: Iterable[Observation]) -> frozenset[int]:
    return frozenset(
        beliefs.courses[hazard.fault].site
        for each in wrong
        for hazard in each.hazards
        if accounts_for((hazard.fault,), each, beliefs)
    )


def _likeliest(beliefs: Beliefs, every: Collection[int]) -> tuple[int, ...]:
    """The sites that a mask has room for."""
    if len(every) <= MOST_SITES:
        return tuple(sorted(every))
    chances = dict.fromkeys(sorted(every), 0.0)
    for course, chance in zip(beliefs.courses, beliefs.marginals, strict=True):
        if course.site in chances:
            chances[course.site] += chance
    return tuple(sorted(sorted(chances, key=lambda number: -chances[number])[:MOST_SITES]))


_MOST_SETS, _FEWEST_SETS, _RAREST_TOGETHER = 400, 48, 5e-6
"""Sets that are looked ahead from: so many, but for the rarest, which come to no more than so much together."""

_WORK = 20_000
"""Sets times sites times faults in a set, up to which there are as many sets as there may be."""

_FEW_SITES = 11
"""Sites of which all sets are kept that are not too rare."""


def _sets(beliefs: Beliefs, numbers: tuple[int, ...]) -> tuple[Masks, Numbers]:
    """Sets of relevant faults that last, as masks, ascending, and their probabilities; together 1."""
    import numpy as np

    place = {number: bit for bit, number in enumerate(numbers)}
    bits = [place.get(course.site, -1) if course.lasts else -1 for course in beliefs.courses]
    if beliefs.every_set is not None:
        faults = sum(chance for bit, chance in zip(bits, beliefs.marginals, strict=True) if bit >= 0)
        most = max(_FEWEST_SETS, min(_MOST_SETS, int(_WORK / max(1.0, len(numbers) * faults))))
        masks, chances = likely_sets(beliefs.every_set, bits, most if len(numbers) > _FEW_SITES else 2**_FEW_SITES)
    else:
        masks, chances = _of_few(beliefs, bits)
    rarest = np.argsort(chances, kind="stable")
    kept = np.sort(rarest[np.cumsum(chances[rarest]) > _RAREST_TOGETHER * chances.sum()])
    return masks[kept], chances[kept] / chances[kept].sum()


def _of_few(beliefs: Beliefs, bits: Sequence[int]) -> tuple[Masks, Numbers]:
    """The same from the sets that were weighed one by one, where the sum over all cannot be had."""
    import numpy as np

    of_course = np.array([1 << bit if bit >= 0 else 0 for bit in bits], dtype=np.uint64)
    parts = [np.bitwise_or.reduce(of_course[members], axis=1, initial=0) for members, _ in beliefs.rings]
    masks, places = np.unique(np.concatenate(parts).astype(np.uint64), return_inverse=True)
    summed = np.bincount(places.ravel(), np.concatenate([chances for _, chances in beliefs.rings])).astype(np.float64)
    order = np.sort(np.argsort(-summed, kind="stable")[:_MOST_SETS])
    return masks[order], summed[order]


def _reckoned_without(beliefs: Beliefs, every: Collection[int], kept: Collection[int]) -> tuple[str, ...]:
    """What is to be said of what may be wrong and is in no set."""
    if beliefs.every_set is None:
        said = f"How likely more faults at once than {len(beliefs.rings) - 1} are could not be worked out"
        return (f"{said}: the costs reckon with the likeliest sets only.",)
    dropped = set(every).difference(kept)
    lasting = zip(beliefs.courses, beliefs.marginals, strict=True)
    without = sum(chance for course, chance in lasting if course.lasts and course.site in dropped)
    if without < _MUCH_LEFT_OUT:
        return ()
    said = "More can be wrong at once than is weighed together"
    about = f"the {len(kept)} likeliest faults and without about {max(1, round(without))} more"
    return (f"{said}: the costs reckon with {about}.",)


_MUCH_LEFT_OUT = 0.2
"""Faults, on the average, from which on it is said that no cost reckons with them."""


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
