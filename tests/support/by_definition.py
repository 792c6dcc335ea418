"""The localiser's model written as its definition: every history of every site, every outcome, plain products.

It takes the sites, the paths and the tables as given, and nothing else from
the rooms under test. A history tells, per look, whether a fault is there and
whether it acts; with one look these are the 2^n fault sets.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, combinations, product
from math import prod
from typing import NamedTuple

from usbwatch.localise.fates import Fate, fates
from usbwatch.localise.paths import Layout
from usbwatch.localise.symptoms import MISTAKEN_AGAIN, WRONGLY_NO, Effect, row
from usbwatch.model import Finding, Findings, Look, Step, StepKind, Symptom

__all__ = ["every_set", "is_watched", "lasting_by_definition", "outcome", "posterior_by_definition"]

AWAY_AT_A_TIME = 0.6
AWAY_WHEN_FLEXED = 0.9
AWAY_IN_A_WATCH = 0.8
STAYS_WELL, STAYS_WRONG = 0.97, 0.96
OUTLIVES_REPLACEMENT = 0.002
_PUT_IN = (StepKind.SWAP, StepKind.FIT, StepKind.MOVE)
"""Steps after which another part is in place; of a module that is moved it is another connector."""

How = tuple[Symptom, bool]
"""What something showed; a "no" is *absent*. And whether it was watched: what comes and goes always was.

Of a hand check that is whether it came out so twice.
"""
Shown = dict[str, How]
"""What each device or check that tells something showed in one look."""


def every_set(count: int) -> list[tuple[int, ...]]:
    """All subsets of ``count`` sites."""
    return list(chain.from_iterable(combinations(range(count), size) for size in range(count + 1)))


Kept = dict[int, tuple[Symptom, float]]
"""Per site that acted before as well: what was shown then, and how probable it is that this was its own doing."""


def outcome(
    layout: Layout, id_: str, faults: Sequence[int], kept: Kept | None = None, *, watched: bool = False
) -> dict[Symptom, float]:
    """What one device or check shows under these faults: built from its far end towards the host.

    A fault shows its symptom, or lets through whatever lies beyond it. A fault
    in ``kept`` acted before as well: mostly it does again what it did then.
    """
    functions = {device.id: device.function for device in layout.profile.devices}
    function = functions.get(id_, "")
    mistaken = WRONGLY_NO * (MISTAKEN_AGAIN if watched else 1)
    watched = watched and function != ""
    beyond = dict(row(Effect.WORKS, function, watched=watched))
    if not function:  # a hand check: people say no for reasons of their own
        beyond = dict.fromkeys(beyond, 0.0) | {Symptom.WORKING: 1 - mistaken, Symptom.ABSENT: mistaken}
    for step in reversed(layout.paths[id_]):
        if step.site in faults:
            own = _own(_alone(step.effect, function, watched=watched), (kept or {}).get(step.site))
            passing = own[Symptom.WORKING]
            beyond = {
                symptom: passing * beyond[symptom] + (own[symptom] if symptom is not Symptom.WORKING else 0.0)
                for symptom in beyond
            }
    return beyond


def _alone(effect: Effect, function: str, *, watched: bool = False) -> dict[Symptom, float]:
    """What one fault does to one device or check ("" for a check, which knows yes and no)."""
    chances = row(effect, function, watched=watched and function != "")
    if function:
        return chances
    well = chances[Symptom.WORKING]
    return dict.fromkeys(chances, 0.0) | {Symptom.WORKING: well, Symptom.ABSENT: 1 - well}


def _own(chances: dict[Symptom, float], before: tuple[Symptom, float] | None) -> dict[Symptom, float]:
    if before is None:
        return chances
    last, its_doing = before
    stays = its_doing * (STAYS_WELL if last is Symptom.WORKING else STAYS_WRONG)
    return {symptom: (1 - stays) * chance + stays * (symptom is last) for symptom, chance in chances.items()}


class _History(NamedTuple):
    there: tuple[bool, ...]
    acts: tuple[bool, ...]
    probability: float


def lasting_by_definition(layout: Layout, looks: Sequence[Look]) -> dict[tuple[int, ...], float]:
    """Probability of every set of faults that are there after the last look, given all the looks."""
    histories = [list(_histories(layout, number, looks)) for number in range(len(layout.sites))]
    weigh = _Weigher(layout, looks, histories)
    joint: dict[tuple[int, ...], float] = {}
    for one in product(*histories):
        lasting = tuple(number for number, history in enumerate(one) if history.there[-1])
        weight = prod(history.probability for history in one) * weigh([history.acts for history in one])
        joint[lasting] = joint.get(lasting, 0.0) + weight
    total = sum(joint.values())
    return {faults: weight / total for faults, weight in joint.items()}


def posterior_by_definition(layout: Layout, findings: Findings) -> dict[tuple[int, ...], float]:
    """Probability of every fault set given one look."""
    return lasting_by_definition(layout, (Look(findings=findings),))


def _histories(layout: Layout, number: int, looks: Sequence[Look]) -> Iterator[_History]:
    """Every history of one site; those that no step sets apart have no weight and are left out."""
    site = layout.sites[number]
    for there in product((True, False), repeat=len(looks)):
        chance = _of_being_there(layout, number, looks, there)
        for acts in product((True, False), repeat=len(looks)):
            acting = chance
            for look, here, act in zip(looks, there, acts, strict=True):
                flexed = any(step.kind is StepKind.FLEX and site.id == f"loose:{step.of}" for step in look.steps)
                alone = AWAY_IN_A_WATCH if is_watched(look) else AWAY_AT_A_TIME
                away = 1.0 if not site.id.startswith("loose:") else AWAY_WHEN_FLEXED if flexed else alone
                acting *= (away if act else 1 - away) if here else float(not act)
            if acting > 0:
                yield _History(there, acts, acting)


def _of_being_there(layout: Layout, number: int, looks: Sequence[Look], there: Sequence[bool]) -> float:
    """The probability of being there as told; what happens between two steps is summed over."""
    site = layout.sites[number]
    now: dict[_State, float] = {(True, None): site.prior, (False, None): 1 - site.prior}
    for look, here in zip(looks, there, strict=True):
        for step in look.steps:
            now = _after(step, fates(layout.sites, step, layout.profile)[number], now)
        now = {state: chance for state, chance in now.items() if state[0] is here}
    return sum(now.values())


_State = tuple[bool, "bool | None"]
"""Whether the fault is there, and whether the part that was taken out first has it; None where none was."""


def _after(step: Step, fate: Fate, now: dict[_State, float]) -> dict[_State, float]:
    """What one step makes of one site: by its fate, or the old part is put back with the fault that it had."""
    after: dict[_State, float] = {}
    for (there, aside), chance in now.items():
        still, left = fate.survives if there else fate.born, aside
        if fate.puts_in and aside is None:
            left = there
        if step.kind is StepKind.BACK and fate.puts_back:
            left = None
            if aside is not None:
                still = (1 - OUTLIVES_REPLACEMENT) * aside + OUTLIVES_REPLACEMENT * there
        for present, share in ((True, still), (False, 1 - still)):
            after[present, left] = after.get((present, left), 0.0) + chance * share
    return after


class _Weigher:
    """The probability of all that counts as evidence, given which sites act in which look."""

    def __init__(self, layout: Layout, looks: Sequence[Look], histories: Sequence[Sequence[_History]]) -> None:
        self.layout = layout
        self.looks = looks
        self.histories = histories
        self.told = list(_what_counts(layout, looks))
        self.known: dict[tuple[int, tuple[int, ...], tuple[int, ...]], float] = {}

    def __call__(self, acts: Sequence[tuple[bool, ...]]) -> float:
        weight = 1.0
        for place, (id_, look, (symptom, watched), last) in enumerate(self.told):
            path = [step.site for step in self.layout.paths[id_]]
            acting = tuple(site for site in path if acts[site][look])
            again = tuple(site for site in acting if last is not None and acts[site][last[0]])
            key = (place, acting, again)
            if key not in self.known:
                kept = {} if last is None else {site: self._kept(id_, last, site, look) for site in again}
                self.known[key] = outcome(self.layout, id_, acting, kept, watched=watched)[symptom]
            weight *= self.known[key]
        return weight

    def _kept(self, id_: str, last: tuple[int, How], site: int, look: int) -> tuple[Symptom, float]:
        return last[1][0], self._its_doing(id_, last, site) * self._old(site, last[0], look)

    def _its_doing(self, id_: str, last: tuple[int, How], site: int) -> float:
        """How probable it is that a fault decided what was seen: against every other single one, and none."""
        look, (symptom, watched) = last
        if symptom is Symptom.WORKING:  # it let it pass, whatever else was there
            return 1.0
        function = {device.id: device.function for device in self.layout.profile.devices}.get(id_, "")
        rows = {step.site: _alone(step.effect, function, watched=watched) for step in self.layout.paths[id_]}
        order = list(rows)
        own = rows[site][symptom]
        nearer = sum(self._odds(other, look) * rows[other][symptom] for other in order[: order.index(site)])
        farther = sum(self._odds(other, look) * rows[other][symptom] for other in order[order.index(site) + 1 :])
        healthy = outcome(self.layout, id_, (), watched=watched)[symptom]
        return own / (own + nearer + rows[site][Symptom.WORKING] * (farther + healthy))

    def _odds(self, site: int, look: int) -> float:
        """That a site's fault acted in a look, against its having been well throughout, given what was well then."""
        acted = sum(history.probability for history in self.histories[site] if history.acts[look])
        well = sum(
            history.probability for history in self.histories[site] if not any(history.acts) and not history.there[-1]
        )
        functions = {device.id: device.function for device in self.layout.profile.devices}
        passed = prod(
            _alone(step.effect, functions.get(id_, ""), watched=watched)[Symptom.WORKING]
            for id_, (symptom, watched) in _shown(self.layout, self.looks[look].findings).items()
            for step in self.layout.paths[id_]
            if symptom is Symptom.WORKING and step.site == site
        )
        return acted / well * passed

    def _old(self, site: int, before: int, look: int) -> float:
        """Of a fault that is there after the steps since, how probable it is that no new part has brought it."""
        steps = (step for each in self.looks[before + 1 : look + 1] for step in each.steps)
        share = 1.0
        for step in steps:
            fate = fates(self.layout.sites, step, self.layout.profile)[site]
            if step.kind in _PUT_IN and self.layout.sites[site].part == step.of and fate.born > 0:
                share *= OUTLIVES_REPLACEMENT / fate.survives
        return share


_Told = tuple[str, int, How, "tuple[int, How] | None"]
"""An id, the look, what it showed, and in which look it was last seen and how."""


def _what_counts(layout: Layout, looks: Sequence[Look]) -> Iterator[_Told]:
    """Leaves out what shows as it did, when no step has reached it and no coin that it shares has fallen anew."""
    loose = {number for number, site in enumerate(layout.sites) if site.id.startswith("loose:")}
    sites_on = {id_: {step.site for step in path} for id_, path in layout.paths.items()}
    checks = {check.id for check in layout.profile.checks}
    last: dict[str, tuple[int, How]] = {}
    reached: dict[int, set[int]] = {}
    for number, look in enumerate(looks):
        touched = [fates(layout.sites, step, layout.profile) for step in look.steps]
        reached[number] = {n for each in touched for n, fate in enumerate(each) if (fate.survives, fate.born) != (1, 0)}
        reached[number] |= {
            n
            for n, site in enumerate(layout.sites)
            for step in look.steps
            if step.kind is StepKind.FLEX and site.id == f"loose:{step.of}"
        }
        shown = _shown(layout, look.findings)
        changed = {id_ for id_, how in shown.items() if id_ in last and last[id_][1][0] is not how[0]}
        coins = {site for id_ in changed for site in sites_on[id_] & loose}
        for id_, how in shown.items():
            since = (
                {site for each in range(last[id_][0] + 1, number + 1) for site in reached[each]}
                if id_ in last
                else set()
            )
            same = id_ in last and (last[id_][1] == how or (id_ in checks and last[id_][1][0] is how[0]))
            if not same or sites_on[id_] & (since | coins):
                yield id_, number, how, last.get(id_)
        last |= {id_: (number, how) for id_, how in shown.items()}


def _shown(layout: Layout, findings: Findings) -> Shown:
    devices = {device.id: device for device in layout.profile.devices}
    told = {
        each.device: (each.symptom, _was_watched(each))
        for each in findings.findings
        if _tells(each, optional=devices[each.device].optional)
    }
    return told | {
        each.check: (Symptom.WORKING if each.yes else Symptom.ABSENT, each.again) for each in findings.answers
    }


def _was_watched(finding: Finding) -> bool:
    return finding.symptom is Symptom.INTERMITTENT or finding.watched is not None


def is_watched(look: Look) -> bool:
    """Whether a device was watched in it; of one that is unseen, or lost with what carries it, nothing is known."""
    known = (one for one in look.findings.findings if one.symptom is not Symptom.UNSEEN and not one.charged_to)
    return any(each.watched is not None for each in known)


def _tells(finding: Finding, *, optional: bool) -> bool:
    silent = finding.symptom is Symptom.UNSEEN or finding.charged_to != ""
    return not silent and not (optional and finding.symptom is Symptom.ABSENT)
