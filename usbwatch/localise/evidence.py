"""What several looks come to as evidence: what is news in each, and how it hangs on what was seen before."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from math import prod

from usbwatch.localise.courses import Course, outlived, touched
from usbwatch.localise.observations import answered, in_look, observations
from usbwatch.localise.paths import Layout
from usbwatch.localise.sites import ACTS_IN_A_CAPTURE, kind_of
from usbwatch.localise.symptoms import MISTAKEN_AGAIN
from usbwatch.localise.watching import was_watched
from usbwatch.localise.weighing import Hazard, Observation
from usbwatch.model.findings import Symptom
from usbwatch.model.steps import Look

__all__ = ["asked_again", "evidence"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Before:
    """When and how something was last seen."""

    look: int
    shown: Observation
    """Its hazards name sites."""
    how: tuple[Symptom, bool] | None
    """Of a device: its symptom, and whether it was watched."""
    its_doing: dict[int, float]
    """By site on its path, how probable it is that a fault there, if it acted, decided what was seen."""


def evidence(layout: Layout, courses: Sequence[Course], looks: Sequence[Look]) -> tuple[Observation, ...]:
    """All that the looks tell, each hazard naming a course.

    What no step has reached since it was last seen, and what shows as it did
    then, is the same fact seen again: it adds nothing. So does an answer that
    was carried over. But where something has come or gone by itself, what
    shares a link with it that makes contact at times counts again: one chance
    per capture decides for all that such a link carries.
    """
    reached = touched(layout.sites, looks, layout.profile)
    old = outlived(layout.sites, looks, layout.profile)
    at_times = {number for number, site in enumerate(layout.sites) if kind_of(site)[0] in ACTS_IN_A_CAPTURE}
    checks = {check.id for check in layout.profile.checks}
    before: dict[str, _Before] = {}
    told: list[Observation] = []
    for number, look in enumerate(looks):
        shown = observations(layout, look.findings)
        news = {each.id for each in shown if _is_news(each, before.get(each.id), reached, number, checks)}
        how = _how(look)
        differing = {each.id for each in shown if each.id in before and _differs(each, how, before[each.id], checks)}
        coins = {hazard.fault for each in shown if each.id in differing for hazard in each.hazards} & at_times
        for observation, seen in zip(shown, in_look(shown, courses, number), strict=True):
            if observation.id in news or any(hazard.fault in coins for hazard in observation.hazards):
                last, same = before.get(observation.id), observation.id not in differing
                since = old[last.look + 1 : number + 1] if last is not None else ()
                told.append(seen if last is None else _again(seen, last, courses, since, same=same))
        if number < len(looks) - 1:
            odds = _odds(courses, number, shown)
            before |= {
                each.id: _Before(look=number, shown=each, how=how.get(each.id), its_doing=_its_doing(each, odds))
                for each in shown
            }
    return tuple(told)


def _how(look: Look) -> dict[str, tuple[Symptom, bool]]:
    return {each.device: (each.symptom, was_watched(each)) for each in look.findings.findings}


def _differs(shown: Observation, how: dict[str, tuple[Symptom, bool]], last: _Before, checks: Collection[str]) -> bool:
    """Whether something shows otherwise than it did, and has not only been watched, or not, beside that."""
    now = how.get(shown.id)
    alike = now is not None and last.how is not None and now[0] is last.how[0] and now[1] != last.how[1]
    return not _equal(shown, last.shown, checks) and not alike


def _is_news(
    shown: Observation, last: _Before | None, reached: Sequence[frozenset[int]], look: int, checks: Collection[str]
) -> bool:
    if last is None or not _equal(shown, last.shown, checks):
        return True
    since = frozenset[int]().union(*reached[last.look + 1 : look + 1])
    return any(hazard.fault in since for hazard in shown.hazards)


def _equal(one: Observation, other: Observation, checks: Collection[str]) -> bool:
    """Whether two looks show the same; of a hand check, however often it was tried in either."""
    return (replace(one, clean=other.clean) if one.id in checks else one) == other


def asked_again(layout: Layout, check: str) -> Observation:
    """A hand check that was answered with no just now and is tried once more: how it comes out as yes.

    What failed fails again nearly always; what makes contact only at times may make it now.
    """
    yes = answered(layout, check, yes=True)
    hazards = (
        hazard
        if kind_of(layout.sites[hazard.fault])[0] in ACTS_IN_A_CAPTURE
        else replace(hazard, passes=hazard.passes * (1 - _STAYS_AS_IT_WAS[True]))
        for hazard in yes.hazards
    )
    return replace(yes, clean=1 - MISTAKEN_AGAIN, hazards=tuple(hazards))


def _odds(courses: Sequence[Course], look: int, shown: Sequence[Observation]) -> dict[int, float]:
    """By site, the odds that a fault there acted in a look, given what was found well in it."""
    odds: dict[int, float] = {}
    for course in courses:
        if course.acts[look]:
            odds[course.site] = odds.get(course.site, 0.0) + course.fault.odds
    for each in shown:
        for hazard in each.hazards if not each.wrong else ():
            odds[hazard.fault] = odds.get(hazard.fault, 0.0) * hazard.passes
    return odds


def _its_doing(shown: Observation, odds: dict[int, float]) -> dict[int, float]:
    """By site on the path, how probable it is that a fault there, if it acted, decided what was seen.

    What was found well passed every fault that acted. What was found wrong
    was mostly the doing of the fault in question, but one nearer to the host
    can have hidden it, and where it lets things pass, one farther out can
    have shown. Those others are taken one at a time.
    """
    if not shown.wrong:
        return {}
    beyond = shown.clean + sum(odds.get(hazard.fault, 0.0) * hazard.shows for hazard in shown.hazards)
    nearer, found = 0.0, {}
    for hazard in shown.hazards:
        own = odds.get(hazard.fault, 0.0) * hazard.shows
        beyond -= own
        others = nearer + hazard.passes * max(0.0, beyond)
        found[hazard.fault] = hazard.shows / (hazard.shows + others) if hazard.shows > 0 else 0.0
        nearer += own
    return found


_STAYS_AS_IT_WAS = {True: 0.96, False: 0.97}
"""How often a fault that is still there shows again just as it did before, wrong or well (elicited, no source).

Else it shows afresh, as one that was not seen before; so does one of which
another has hidden what it shows, and one that a new part has brought along.
"""


def _again(
    seen: Observation, last: _Before, courses: Sequence[Course], old: Sequence[dict[int, float]], *, same: bool
) -> Observation:
    """Something that was seen before: a fault that acted then and acts now mostly shows as it did.

    ``old``: per look since then, what of the faults that are still there is not a new part's (``outlived``).
    """
    stays = _STAYS_AS_IT_WAS[last.shown.wrong]
    hazards = []
    for hazard in seen.hazards:
        course = courses[hazard.fault]
        kept = stays * last.its_doing.get(course.site, 1.0) if course.acts[last.look] else 0.0
        kept *= prod(shares.get(course.site, 1.0) for shares in old)
        passes = (1 - kept) * hazard.passes + (0.0 if last.shown.wrong else kept)
        shows = (1 - kept) * hazard.shows + (kept if seen.wrong and same else 0.0)
        hazards.append(Hazard(fault=hazard.fault, passes=passes, shows=shows))
    return replace(seen, hazards=tuple(hazards))
