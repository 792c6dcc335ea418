"""How a site can have fared over several looks and the steps between them.

Evidence from before and after a step is used together by giving a site one
fault for each course that it can have taken: mended by the step, still there
after it, brought about by it. The courses of one site exclude each other;
everything else stays as it is for a single look.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from usbwatch.localise.fates import MISSED, UNTOUCHED, Fate, fates
from usbwatch.localise.sites import ACTS_IN_A_CAPTURE, kind_of
from usbwatch.localise.watching import acting, watched_look
from usbwatch.localise.weighing import Fault
from usbwatch.model.profile import Profile
from usbwatch.model.steps import Look, StepKind
from usbwatch.model.suspects import Site

__all__ = ["ACTS_WHEN_FLEXED", "Course", "changed", "courses", "outlived", "touched"]

ACTS_WHEN_FLEXED = 0.9
"""How often what makes contact only at times is away while it is moved (elicited, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One way in which one site fared, other than well throughout."""

    site: int
    acts: tuple[bool, ...]
    """Per look, whether the fault was there and showed itself."""
    lasts: bool
    """Whether the fault is there after the last look."""
    fault: Fault


def touched(sites: tuple[Site, ...], looks: Sequence[Look], profile: Profile) -> tuple[frozenset[int], ...]:
    """Per look, the sites that the steps before it reach: what they can change, and what they try harder."""
    tried = (frozenset(number for number, site in enumerate(sites) if _flexed(site, look)) for look in looks)
    return tuple(each | own for each, own in zip(changed(sites, looks, profile), tried, strict=True))


def changed(sites: tuple[Site, ...], looks: Sequence[Look], profile: Profile) -> tuple[frozenset[int], ...]:
    """Per look, the sites that the steps before it can change."""
    told = ([fates(sites, step, profile) for step in look.steps] for look in looks)
    return tuple(
        frozenset(number for each in of_look for number, fate in enumerate(each) if fate != UNTOUCHED)
        for of_look in told
    )


def outlived(sites: tuple[Site, ...], looks: Sequence[Look], profile: Profile) -> tuple[dict[int, float], ...]:
    """Per look, of the faults that are still there after the steps before it, how many are the old ones, by site.

    A site that is not named has no others.
    """
    found = []
    for look in looks:
        shares: dict[int, float] = {}
        for step in look.steps:
            for number, fate in enumerate(fates(sites, step, profile)):
                if fate.renewed > 0:
                    shares[number] = shares.get(number, 1.0) * (1 - fate.renewed)
        found.append(shares)
    return tuple(found)


def courses(sites: tuple[Site, ...], looks: Sequence[Look], profile: Profile) -> tuple[Course, ...]:
    """Every course of every site, with its odds against having been well throughout; by site, in the order given."""
    told = [[fates(sites, step, profile) for step in look.steps] for look in looks]
    found = []
    for number, site in enumerate(sites):
        steps = [[fate[number] for fate in between] for between in told]
        chances = _chances(site, steps, [_acts(site, look) for look in looks])
        well = chances.pop((tuple(False for _ in looks), False), 0.0)
        for (acts, lasts), chance in chances.items():
            fault = Fault(site=number, odds=chance / well)
            found.append(Course(site=number, acts=acts, lasts=lasts, fault=fault))
    return tuple(found)


def _acts(site: Site, look: Look) -> float:
    """How probable it is that a fault that is there shows itself in a look."""
    usual = acting(kind_of(site)[0], watched=watched_look(look.findings))
    return max(usual, ACTS_WHEN_FLEXED) if _flexed(site, look) else usual


def _flexed(site: Site, look: Look) -> bool:
    """Whether the look was taken while it was moved, and that can matter."""
    kind, of = kind_of(site)
    moved = any(step.kind is StepKind.FLEX and step.of == of for step in look.steps)
    return moved and kind in ACTS_IN_A_CAPTURE


_Told = tuple[tuple[bool, ...], bool]
"""What tells courses apart: in which looks the fault acted, and whether it lasts."""

_State = tuple[tuple[bool, ...], bool, bool | None]
"""On the way also: whether the part that was laid aside first has the fault; None while none is."""


def _chances(site: Site, steps: list[list[Fate]], acting: list[float]) -> dict[_Told, float]:
    """The probability of each course; steps before the first look (an earlier repair) count as well."""
    chances: dict[_State, float] = {((), True, None): site.prior, ((), False, None): 1 - site.prior}
    for number, chance in enumerate(acting):
        for fate in steps[number]:
            chances = _stepped(chances, fate)
        chances = _looked(chances, chance)
    told: dict[_Told, float] = {}
    for (acts, there, _), chance in chances.items():
        told[acts, there] = told.get((acts, there), 0.0) + chance
    return told


def _stepped(chances: dict[_State, float], fate: Fate) -> dict[_State, float]:
    if fate == UNTOUCHED:
        return chances
    after: dict[_State, float] = {}
    for (acts, there, aside), chance in chances.items():
        stays = fate.survives if there else fate.born
        if fate.puts_back and aside is not None:
            stays = (1 - MISSED) * aside + MISSED * there
        left = None if fate.puts_back else there if fate.puts_in and aside is None else aside
        for still, share in ((True, stays), (False, 1 - stays)):
            after[acts, still, left] = after.get((acts, still, left), 0.0) + chance * share
    return {told: chance for told, chance in after.items() if chance > 0}


def _looked(chances: dict[_State, float], acting: float) -> dict[_State, float]:
    after = {}
    for ((acts, there, aside), chance), shows in product(chances.items(), (True, False)):
        share = (acting if shows else 1 - acting) if there else float(not shows)
        if share > 0:
            after[(*acts, shows), there, aside] = chance * share
    return after
