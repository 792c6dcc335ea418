"""What a candidate would show, and where the unit would then stand.

For an observation: yes or no, with the chance of either under every fault
set. For a step: which of the things that are wrong would be well afterwards.
There a thing counts as wrong while a fault that can be behind it acts, so
that what a step can show is a handful of outcomes and not one for every slip
of a capture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.courses import ACTS_WHEN_FLEXED
from usbwatch.localise.fates import BAD_PART, UNTOUCHED, Fate, fates
from usbwatch.localise.sites import ACTS_IN_A_CAPTURE, SiteKind, kind_of
from usbwatch.localise.watching import acting as left_alone
from usbwatch.localise.watching import watched_look
from usbwatch.localise.weighing import Observation
from usbwatch.model.steps import Step, StepKind
from usbwatch.plan.candidates import Candidate
from usbwatch.plan.standing import Standing

if TYPE_CHECKING:
    from usbwatch.plan.standing import Indices, Masks, Numbers

_MOST_WRONG = 60
"""What a pattern of 64 bits holds."""

__all__ = ["REST", "Branch", "Foresight", "branches", "working"]

REST = "?"
"""Stands in ``Branch.well`` for the outcomes that are too rare to be told apart."""


@dataclass(frozen=True, kw_only=True)
class Branch:
    """One outcome: what is then seen, and the fault sets with their joint probabilities."""

    well: tuple[str, ...]
    """Ids, of what is wrong now, that are then well; for an observation its own id when the answer is yes."""
    origins: Indices
    """Per row, which set of the standing it comes from."""
    masks: Masks
    chances: Numbers

    @cached_property
    def probability(self) -> float:
        """Of this outcome."""
        return float(self.chances.sum())

    def of_none(self, where: Standing) -> float:
        """The same with no fault before: what was found wrong was a mistake of the look."""
        return float(self.chances[where.masks[self.origins] == 0].sum())


@dataclass(frozen=True, kw_only=True)
class Foresight:
    """What the candidates can show of one unit."""

    beliefs: Beliefs
    where: Standing

    @cached_property
    def on_path(self) -> dict[str, set[int]]:
        """Per id of what is wrong, the sites on its path."""
        found: dict[str, set[int]] = {id_: set() for id_ in self.where.wrong[:_MOST_WRONG]}
        for each in (*self.beliefs.current, *self.beliefs.evidence):
            if each.id in found:
                found[each.id] |= {self.beliefs.courses[hazard.fault].site for hazard in each.hazards}
        return found

    @cached_property
    def behind(self) -> dict[str, int]:
        """The same as a mask of the sites of the standing."""
        place = self.where.place
        return {id_: sum(1 << place[site] for site in own if site in place) for id_, own in self.on_path.items()}

    @cached_property
    def at_times(self) -> tuple[tuple[int, SiteKind, str], ...]:
        """What makes contact only at times: its place among the sites of the standing, its kind, and of what it is."""
        kinds = ((place, *kind_of(site)) for place, site in enumerate(self.where.sites))
        return tuple(each for each in kinds if each[1] in ACTS_IN_A_CAPTURE)

    @cached_property
    def watched(self) -> bool:
        """Whether the unit was watched in the last look: then the next one is taken to be a watch as well."""
        return any(watched_look(look.findings) for look in self.beliefs.looks[-1:])

    @cached_property
    def _told(self) -> dict[Step, tuple[Fate, ...]]:
        return dict(self.where.fates)

    def fates(self, step: Step) -> tuple[Fate, ...]:
        """What a step does to each site of the layout."""
        if step not in self._told:
            self._told[step] = fates(self.beliefs.layout.sites, step, self.beliefs.layout.profile)
        return self._told[step]


def branches(candidate: Candidate, ahead: Foresight) -> list[Branch]:
    """The outcomes of a candidate, each with a chance above 0; the chances add to 1."""
    if candidate.yes is None:
        return _after_step(candidate.step, ahead)
    where = ahead.where
    (yes,) = working([candidate.yes], where, where.masks)
    pair = ((candidate.yes.id,), where.chances * yes), ((), where.chances * (1 - yes))
    every = _rows(where)[0]
    found = (Branch(well=well, origins=every, masks=where.masks, chances=chances) for well, chances in pair)
    return [branch for branch in found if branch.probability > 0]


def _rows(where: Standing) -> tuple[Indices, Masks, Numbers]:
    import numpy as np

    return np.arange(len(where.masks)), where.masks, where.chances


def working(asked: Sequence[Observation], where: Standing, masks: Masks) -> Numbers:
    """Per observation, one a row, its chance of a yes under each of these sets of faults: a product over its faults."""
    import numpy as np

    passes = np.ones((len(asked), len(where.sites)))
    for row, yes in enumerate(asked):
        for hazard in yes.hazards:
            if hazard.fault in where.place:
                passes[row, where.place[hazard.fault]] *= hazard.passes
    chances = np.repeat([[yes.clean] for yes in asked], len(masks), axis=1)
    for place in np.flatnonzero((passes != 1).any(axis=0)):
        has = (masks & np.uint64(1 << int(place))) != 0
        chances[:, has] *= passes[:, place, None]
    return chances


def _after_step(step: Step | None, ahead: Foresight) -> list[Branch]:
    """A bad new part counts as the old fault still there: the same cure mends it."""
    where = ahead.where
    rows = _rows(where)
    if step is not None:
        for place, stays in enumerate(_stays(step, ahead)):
            if stays < 1:
                rows = _split(rows, place, stays)
    return _by_what_is_well(*_seen(rows, step, ahead), ahead, _untold(step, ahead))


def _untold(step: Step | None, ahead: Foresight) -> frozenset[str]:
    """What only a person can establish, and the step cannot have changed: an answer stands, and is not asked again."""
    devices = {device.id for device in ahead.beliefs.layout.profile.devices}
    by_hand = frozenset(ahead.behind).difference(devices)
    if not by_hand or step is None or step.kind is StepKind.FLEX:
        return by_hand
    reached = {number for number, fate in enumerate(ahead.fates(step)) if fate != UNTOUCHED}
    return frozenset(id_ for id_ in by_hand if reached.isdisjoint(ahead.on_path[id_]))


def _stays(step: Step, ahead: Foresight) -> list[float]:
    """Per site of the standing, how often its fault, or another of the part that is put in, is there afterwards."""
    told, sites = ahead.fates(step), ahead.beliefs.layout.sites
    bad = BAD_PART.get(step.kind, 0.0)
    found = []
    for number in ahead.where.numbers:
        fate = told[number]
        put_in = bad > 0 and sites[number].part == step.of and fate.born > 0
        found.append(min(1.0, fate.survives + bad - fate.born) if put_in else fate.survives)
    return found


def _split(rows: tuple[Indices, Masks, Numbers], place: int, stays: float) -> tuple[Indices, Masks, Numbers]:
    """Every row whose set has the fault in two: with it, and without."""
    import numpy as np

    origins, masks, chances = rows
    bit = np.uint64(1 << place)
    has = np.flatnonzero(masks & bit)
    if not len(has):
        return rows
    kept = chances.copy()
    kept[has] *= stays
    return (
        np.concatenate([origins, origins[has]]),
        np.concatenate([masks, masks[has] & ~bit]),
        np.concatenate([kept, chances[has] * (1 - stays)]),
    )


def _seen(
    rows: tuple[Indices, Masks, Numbers], step: Step | None, ahead: Foresight
) -> tuple[tuple[Indices, Masks, Numbers], Masks]:
    """The rows, and per row the faults that act in the capture: what comes and goes may be away just then."""
    import numpy as np

    acting = rows[1]
    for place, kind, of in ahead.at_times:
        flexed = step is not None and step.kind is StepKind.FLEX and step.of == of
        has = np.flatnonzero(acting & np.uint64(1 << place))
        often = ACTS_WHEN_FLEXED if flexed else left_alone(kind, watched=ahead.watched)
        idle = _split((rows[0], acting, rows[2]), place, often)
        rows = (idle[0], np.concatenate([rows[1], rows[1][has]]), idle[2])
        acting = idle[1]
    return rows, acting


def _by_what_is_well(
    rows: tuple[Indices, Masks, Numbers], acting: Masks, ahead: Foresight, untold: frozenset[str]
) -> list[Branch]:
    """The outcomes; what is ``untold`` stays as it is in all of them."""
    import numpy as np

    shown = np.zeros(len(acting), dtype=np.int64)
    for bit, (id_, path) in enumerate(ahead.behind.items()):
        if id_ in untold:
            continue
        shown |= ((acting & np.uint64(path)) == 0).astype(np.int64) << bit
    patterns, places = np.unique(shown, return_inverse=True)
    places = places.ravel()
    places, well = _without_freaks(patterns.tolist(), places, rows[2], tuple(ahead.behind))
    found = []
    for number, ids in well.items():
        mine = np.flatnonzero(places == number)
        branch = Branch(well=ids, origins=rows[0][mine], masks=rows[1][mine], chances=rows[2][mine])
        if branch.probability > 0:
            found.append(branch)
    return found


_FREAK = 0.01
"""Outcomes less probable than this are taken together: there are many, and none of them decides anything."""


def _without_freaks(
    patterns: list[int], places: Indices, chances: Numbers, ids: tuple[str, ...]
) -> tuple[Indices, dict[int, tuple[str, ...]]]:
    """The rows by outcome, and what is well in each; the rare outcomes are one, where there are several."""
    import numpy as np

    rare = np.bincount(places, chances, len(patterns)) < _FREAK
    several = rare.sum() > 1
    told = np.flatnonzero(~rare).tolist() if several else range(len(patterns))
    well = {number: tuple(id_ for bit, id_ in enumerate(ids) if patterns[number] >> bit & 1) for number in told}
    if not several:
        return places, well
    rest = len(patterns)
    return np.where(rare[places], rest, places), well | {rest: (REST,)}
