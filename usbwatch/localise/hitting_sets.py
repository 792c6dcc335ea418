"""The fewest faults that explain everything found wrong.

What was found wrong with one device is a conflict: the faults that account
for it cannot all be away. A set of faults explains everything when it hits
every conflict (Reiter, "A theory of diagnosis from first principles", 1987).
The posterior does not rest on this: it is what a person does first, with
pencil and paper.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from math import fsum, log

from usbwatch.localise.arguments import accounts_for
from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.sites import UNKNOWN_PART
from usbwatch.localise.weighing import Observation, likelihood
from usbwatch.model.suspects import Site

__all__ = ["minimal_hitting_sets", "smallest_explanations"]


def minimal_hitting_sets(family: Iterable[Collection[int]], most: int | None = None) -> tuple[frozenset[int], ...]:
    """All sets that share a member with every set of the family and lose that when any one member is left out.

    Small ones first, then by their members; with ``most``, those of at most
    so many members. An empty family is hit by the empty set, an empty set by
    none. One set of the family is taken in at a time (Berge, "Hypergraphs",
    1989): what hits it stays; what misses it grows by each of its members,
    unless what stays is then part of it.

    >>> [sorted(each) for each in minimal_hitting_sets([{1, 2}, {2, 3}])]
    [[2], [1, 3]]
    """
    found = [frozenset[int]()]
    for wanted in sorted({frozenset(each) for each in family}, key=_small_first):
        staying = [each for each in found if each & wanted]
        growing = [each for each in found if not each & wanted and (most is None or len(each) < most)]
        grown = (each | {member} for each in growing for member in wanted)
        found = [*staying, *(each for each in grown if not any(part <= each for part in staying))]
    return tuple(sorted(found, key=_small_first))


def _small_first(members: frozenset[int]) -> tuple[int, list[int]]:
    return len(members), sorted(members)


def smallest_explanations(beliefs: Beliefs, most: int = 3) -> tuple[tuple[Site, ...], ...]:
    """The sets of fewest known faults that account for all that the last look found wrong, likeliest first.

    All of them have the same number of faults, at most ``most``: one empty
    set when nothing was found wrong, none at all when so few faults do not
    explain it or when no known fault accounts for one of the things found
    wrong.
    """
    wrong = [each for each in beliefs.current if each.wrong]
    course_of = _courses_by_site(beliefs, wrong)
    conflicts = [
        [site for site, course in course_of.items() if accounts_for((course,), each, beliefs)] for each in wrong
    ]
    for size in range(most + 1):
        hitting = [[course_of[site] for site in sorted(each)] for each in minimal_hitting_sets(conflicts, size)]
        # Of two faults on one path the nearer one can hide what the farther one would have shown.
        whole = [faults for faults in hitting if all(accounts_for(faults, each, beliefs) for each in wrong)]
        if whole:
            ranked = sorted(whole, key=lambda faults: -_log_weight(faults, beliefs))
            sites, courses = beliefs.layout.sites, beliefs.courses
            return tuple(tuple(sites[courses[fault].site] for fault in faults) for faults in ranked)
    return ()


def _courses_by_site(beliefs: Beliefs, wrong: Iterable[Observation]) -> dict[int, int]:
    """Per known site that can have acted on what was found wrong, the likeliest course in which it did."""
    sites, courses = beliefs.layout.sites, beliefs.courses
    acting = {hazard.fault for each in wrong for hazard in each.hazards}
    ascending = sorted(acting, key=lambda number: courses[number].fault.odds)
    found = {courses[each].site: each for each in ascending if sites[courses[each].site].part != UNKNOWN_PART}
    return dict(sorted(found.items()))


def _log_weight(faults: Collection[int], beliefs: Beliefs) -> float:
    """Log odds of a set, but for what all sets have in common."""
    prior = fsum(log(beliefs.courses[fault].fault.odds) for fault in faults)
    return prior + fsum(log(likelihood(each, faults)) for each in beliefs.evidence)
