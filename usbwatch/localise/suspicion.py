"""The suspects of a unit: fault sets, parts and cures, with what each accounts for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import groupby, islice, product
from math import fsum
from typing import TYPE_CHECKING

from usbwatch.localise.arguments import account, accounts_for, strongest
from usbwatch.localise.beliefs import Beliefs, believe
from usbwatch.localise.every_set import Share
from usbwatch.localise.hitting_sets import smallest_explanations
from usbwatch.localise.sites import UNKNOWN_PART
from usbwatch.localise.weighing import Observation
from usbwatch.model.cases import Experience
from usbwatch.model.findings import Findings
from usbwatch.model.profile import Profile
from usbwatch.model.steps import Look
from usbwatch.model.suspects import Cure, CureSuspicion, Hypothesis, PartSuspicion, Site, Suspects

if TYPE_CHECKING:
    from usbwatch.localise.weighing import Numbers

__all__ = ["HYPOTHESES_KEPT", "LEAST_PROBABILITY", "suspects", "suspects_of"]

HYPOTHESES_KEPT = 20
"""At most so many hypotheses, and fewest faults, are listed; all else is summed over every set."""

LEAST_PROBABILITY = 0.005
"""A hypothesis less probable than this is not listed, unless it is the likeliest."""

FaultSet = tuple[int, ...]
"""Numbers of courses, ascending."""


def suspects(
    findings: Findings, profile: Profile, depth: int | None = None, *, experience: Experience | None = None
) -> Suspects:
    """What can have failed, after one look: by fault set, by part and by cure, likeliest first.

    ``depth`` and ``experience`` as for ``believe``.
    """
    return suspects_of(believe(profile, (Look(findings=findings),), depth, experience=experience))


def suspects_of(beliefs: Beliefs) -> Suspects:
    """The same, from beliefs that rest on any number of looks; what a step has mended is no suspect any more."""
    known = _lasting(beliefs, lambda site: site.part != UNKNOWN_PART)
    parts, cures, every = _by_part(beliefs), _by_cure(beliefs), _lasting(beliefs, lambda _site: True)
    others = [set(every).difference(own) for own in cures.values()]
    # All that is asked of the sums over every set, in one pass.
    shares = iter(beliefs.shares([known, every, *parts.values(), *others, *cures.values()]))
    nothing_known, nothing = next(shares).none, next(shares).none
    in_part = list(islice(shares, len(parts)))
    alone = [share.none - nothing for share in islice(shares, len(cures))]
    return Suspects(
        depth=len(beliefs.rings) - 1,
        left_out=beliefs.left_out,
        hypotheses=tuple(_hypothesis(faults, chance, beliefs) for faults, chance in _likeliest(beliefs)),
        parts=_parts(beliefs, parts, in_part),
        nothing_wrong=nothing_known,
        unexplained=tuple(each.id for each in beliefs.current if each.wrong and not _within_reach(each, beliefs)),
        cures=_cures(cures, alone, list(shares)),
        fewest=smallest_explanations(beliefs)[:HYPOTHESES_KEPT],
    )


def _lasting(beliefs: Beliefs, wanted: Callable[[Site], bool]) -> list[int]:
    """The courses that end in a fault at such a site."""
    sites = beliefs.layout.sites
    return [number for number, course in enumerate(beliefs.courses) if course.lasts and wanted(sites[course.site])]


def _within_reach(observation: Observation, beliefs: Beliefs) -> bool:
    sites, courses = beliefs.layout.sites, beliefs.courses
    known = (each.fault for each in observation.hazards if sites[courses[each.fault].site].part != UNKNOWN_PART)
    return any(accounts_for((fault,), observation, beliefs) for fault in known)


def _likeliest(beliefs: Beliefs) -> list[tuple[FaultSet, float]]:
    """The sets that are worth listing, likeliest first.

    Sets that differ only in when a fault showed itself are one, told by the likeliest of them.
    """
    found = [
        (tuple(int(number) for number in members[row]), float(chances[row]))
        for members, chances in beliefs.rings
        for row in _highest(chances)
    ]
    found.sort(key=lambda each: (-each[1], len(each[0]), each[0]))
    alike = _alike(beliefs)
    kept: dict[FaultSet, FaultSet] = {}
    for faults, _ in found[:HYPOTHESES_KEPT]:
        kept.setdefault(tuple(sorted(alike[fault][0] for fault in faults)), faults)
    whole = _summed([(faults, list(product(*(alike[fault] for fault in faults)))) for faults in kept.values()], beliefs)
    whole.sort(key=lambda each: (-each[1], len(each[0]), each[0]))
    return [each for each in whole if each[1] >= LEAST_PROBABILITY] or whole[:1]


def _summed(groups: list[tuple[FaultSet, list[FaultSet]]], beliefs: Beliefs) -> list[tuple[FaultSet, float]]:
    """Each first set, with the probability that exactly one of those that go with it was taken; all have one size."""
    found = []
    for _, same in groupby(sorted(groups, key=lambda each: len(each[0])), key=lambda each: len(each[0])):
        own = list(same)
        chances = iter(beliefs.chances_of([one for _, with_it in own for one in with_it]))
        found += [(faults, fsum(islice(chances, len(with_it)))) for faults, with_it in own]
    return found


def _alike(beliefs: Beliefs) -> list[list[int]]:
    """Per course, those of its site that end as it does."""
    owners: dict[tuple[int, bool], list[int]] = {}
    for number, course in enumerate(beliefs.courses):
        owners.setdefault((course.site, course.lasts), []).append(number)
    return [owners[course.site, course.lasts] for course in beliefs.courses]


def _highest(chances: Numbers) -> list[int]:
    import numpy as np

    kept = min(HYPOTHESES_KEPT, len(chances))
    return [int(row) for row in np.argpartition(-chances, kept - 1)[:kept]] if kept else []


def _hypothesis(faults: FaultSet, chance: float, beliefs: Beliefs) -> Hypothesis:
    told = account(faults, beliefs)
    sites, courses = beliefs.layout.sites, beliefs.courses
    return Hypothesis(
        sites=tuple(sites[courses[fault].site] for fault in faults),
        mended=tuple(sites[courses[fault].site].id for fault in faults if not courses[fault].lasts),
        probability=chance,
        explains=told.explains,
        leaves=told.leaves,
        against=told.against,
    )


def _by_part(beliefs: Beliefs) -> dict[str, list[int]]:
    """Per part that some site belongs to, the courses that end in its fault."""
    parts = dict.fromkeys(site.part for site in beliefs.layout.sites if site.part != UNKNOWN_PART)
    return {part: _lasting(beliefs, lambda site, part=part: site.part == part) for part in parts}  # type: ignore[misc]


def _by_cure(beliefs: Beliefs) -> dict[Cure, list[int]]:
    """Per cure that is worth listing, the courses that need it."""
    owners: dict[Cure, list[int]] = {}
    for number in _lasting(beliefs, lambda _site: True):
        cure = beliefs.layout.sites[beliefs.courses[number].site].cure
        if cure is not None:
            owners.setdefault(cure, []).append(number)
    return {cure: own for cure, own in owners.items() if sum(beliefs.marginals[n] for n in own) >= LEAST_PROBABILITY}


def _parts(beliefs: Beliefs, groups: dict[str, list[int]], shares: Sequence[Share]) -> tuple[PartSuspicion, ...]:
    """Every part that some site belongs to.

    A part can fail in several ways, so what it explains is told for the
    likeliest single way, or for the likeliest two where they explain more.
    """
    arguments = strongest(beliefs, groups)
    best = _likeliest_within(beliefs, groups)
    found = []
    for part, share in zip(groups, shares, strict=True):
        told = account(best.get(part, ()), beliefs)
        found.append(
            PartSuspicion(
                part=part,
                probability=share.any,
                sites=_ways(beliefs, part),
                explains=told.explains,
                leaves=told.leaves,
                against=told.against,
                most_for=arguments[part].most_for,
                most_against=arguments[part].most_against,
                for_was_wrong=arguments[part].for_was_wrong,
                against_was_wrong=arguments[part].against_was_wrong,
            )
        )
    return tuple(sorted(found, key=lambda suspicion: -suspicion.probability))


def _ways(beliefs: Beliefs, part: str) -> tuple[tuple[Site, float], ...]:
    """The sites of a part with the probability that each has failed, likeliest first."""
    chances = {number: 0.0 for number, site in enumerate(beliefs.layout.sites) if site.part == part}
    for course, chance in zip(beliefs.courses, beliefs.marginals, strict=True):
        if course.lasts and course.site in chances:
            chances[course.site] += chance
    ways = ((beliefs.layout.sites[number], chance) for number, chance in chances.items())
    return tuple(sorted(ways, key=lambda way: -way[1]))


def _likeliest_within(beliefs: Beliefs, groups: dict[str, list[int]]) -> dict[str, FaultSet]:
    """Per part, the likeliest set of faults that lies in this part alone."""
    import numpy as np

    owner = np.full(len(beliefs.courses), -1)
    for number, courses in enumerate(groups.values()):
        owner[courses] = number
    best: dict[int, tuple[float, FaultSet]] = {}
    for members, chances in beliefs.rings[1:]:
        first, *others = (owner[column] for column in members.T)
        rows = np.flatnonzero(np.logical_and.reduce([first >= 0, *(first == other for other in others)]))
        rows = rows[np.lexsort((-chances[rows], first[rows]))]
        for row in rows[np.unique(first[rows], return_index=True)[1]]:
            chance = float(chances[row])
            if chance > best.get(first[row], (0.0, ()))[0]:
                best[int(first[row])] = (chance, tuple(int(number) for number in members[row]))
    return {name: best[number][1] for number, name in enumerate(groups) if number in best}


def _cures(cures: Iterable[Cure], alone: Iterable[float], needed: Iterable[Share]) -> tuple[CureSuspicion, ...]:
    """The cures by how probable it is that the unit needs them; ``alone``: that it needs no other."""
    found = [
        CureSuspicion(cure=cure, probability=share.any, alone=max(0.0, by_itself))
        for cure, by_itself, share in zip(cures, alone, needed, strict=True)
    ]
    return tuple(sorted(found, key=lambda each: -each.probability))
