"""The suspects of a unit: fault sets, parts and cures, with what each accounts for."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import TYPE_CHECKING

from usbwatch.localise.arguments import account, accounts_for, strongest
from usbwatch.localise.beliefs import Beliefs, believe
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
    return Suspects(
        depth=len(beliefs.rings) - 1,
        left_out=beliefs.left_out,
        hypotheses=tuple(_hypothesis(faults, chance, beliefs) for faults, chance in _likeliest(beliefs)),
        parts=_parts(beliefs),
        nothing_wrong=beliefs.none_of(known),
        unexplained=tuple(each.id for each in beliefs.current if each.wrong and not _within_reach(each, beliefs)),
        cures=_cures(beliefs),
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
    whole = [
        (faults, beliefs.chance_of(list(product(*(alike[fault] for fault in faults))))) for faults in kept.values()
    ]
    whole.sort(key=lambda each: (-each[1], len(each[0]), each[0]))
    return [each for each in whole if each[1] >= LEAST_PROBABILITY] or whole[:1]


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


def _parts(beliefs: Beliefs) -> tuple[PartSuspicion, ...]:
    """Every part that some site belongs to.

    A part can fail in several ways, so what it explains is told for the
    likeliest single way, or for the likeliest two where they explain more.
    """
    sites = beliefs.layout.sites
    parts = dict.fromkeys(site.part for site in sites if site.part != UNKNOWN_PART)
    groups = {part: _lasting(beliefs, lambda site, part=part: site.part == part) for part in parts}  # type: ignore[misc]
    arguments = strongest(beliefs, groups)
    best = _likeliest_within(beliefs, groups)
    found = []
    for part, share in zip(groups, beliefs.shares(list(groups.values())), strict=True):
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


def _cures(beliefs: Beliefs) -> tuple[CureSuspicion, ...]:
    """The cures that are worth listing, by how probable it is that the unit needs them."""
    owners: dict[Cure, list[int]] = {}
    every = _lasting(beliefs, lambda _site: True)
    for number in every:
        cure = beliefs.layout.sites[beliefs.courses[number].site].cure
        if cure is not None:
            owners.setdefault(cure, []).append(number)
    likely = {cure: own for cure, own in owners.items() if sum(beliefs.marginals[n] for n in own) >= LEAST_PROBABILITY}
    others = [set(every).difference(own) for own in likely.values()]
    nothing, *without = (share.none for share in beliefs.shares([every, *others]))
    needed = (share.any for share in beliefs.shares(list(likely.values())))
    found = [
        CureSuspicion(cure=cure, probability=chance, alone=max(0.0, alone - nothing))
        for cure, chance, alone in zip(likely, needed, without, strict=True)
    ]
    return tuple(sorted(found, key=lambda each: -each.probability))
