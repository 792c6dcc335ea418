"""What a plan's figures mean, written as their definition over sets of faults, with plain dictionaries.

It takes fates and prices as given, and nothing else from the rooms under test: the
chances are those of every set of faults by the definition of the model.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import product

from support.by_definition import is_watched, lasting_by_definition

from usbwatch.localise import Beliefs
from usbwatch.localise.fates import fates
from usbwatch.model.steps import Step, StepKind
from usbwatch.model.suspects import Cure, CureKind
from usbwatch.plan.money import Prices

__all__ = ["Chances", "Faults", "Question", "Unit"]

Faults = frozenset[int]
Chances = dict[Faults, float]

Question = tuple[float, Callable[[Faults], float]]
"""What it costs to ask, and the chance of a yes under each set of faults."""

_STEPS = {
    CureKind.RESEAT: StepKind.RESEAT,
    CureKind.REPLACE: StepKind.FIT,
    CureKind.RELOAD: StepKind.RELOAD,
    CureKind.DRAIN: StepKind.DRAIN,
}
_BAD = {StepKind.FIT: 0.02, StepKind.SWAP: 0.03}
_AWAY, _AWAY_IN_A_WATCH = 0.6, 0.8
"""How often a loose link is away in a capture, and in one that is watched: as the next one is, where the last was."""


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One unit of a model with one look behind it, and no repair."""

    beliefs: Beliefs
    prices: Prices
    matter: frozenset[int]
    """Sites that can be behind what is wrong."""

    def now(self) -> Chances:
        """The chance of every set of faults that matter."""
        found: Chances = {}
        for faults, chance in self._all_sets.items():
            key = frozenset(faults) & self.matter
            found[key] = found.get(key, 0.0) + chance
        return found

    @cached_property
    def _all_sets(self) -> dict[tuple[int, ...], float]:
        return lasting_by_definition(self.beliefs.layout, self.beliefs.looks)

    def cures(self) -> list[Cure]:
        """Of what matters."""
        sites = self.beliefs.layout.sites
        named = [cure for number in sorted(self.matter) if (cure := sites[number].cure) is not None]
        return list(dict.fromkeys(named))

    def worth(self, chances: Chances) -> float:
        """Cures by chance per cost, each at most twice, up to the point where giving up is the least."""
        left = {faults: chance for faults, chance in chances.items() if faults}
        enough = 1e-4 * sum(left.values())
        spent, best, tries = 0.0, sum(left.values()) * self.prices.never_mended, dict.fromkeys(self.cures(), 0)
        for _ in range(12):
            gains = {cure: self._gain(left, cure) for cure, tried in tries.items() if tried < 2}
            cure = max(gains, key=lambda each: gains[each], default=None)
            if cure is None or gains[cure] <= 0 or sum(left.values()) <= enough:
                break
            spent += sum(left.values()) * self.prices.of_cure(cure)
            tries[cure] += 1
            left = self._cured(left, cure)
            best = min(best, spent + sum(left.values()) * self.prices.never_mended)
        return best

    def worth_with_a_question(self, chances: Chances, questions: Iterable[Question]) -> float:
        """The same, or one question before all cures where that costs less."""
        best, every = self.worth(chances), sum(chances.values())
        for cost, yes in questions:
            with_yes = {faults: chance * yes(faults) for faults, chance in chances.items()}
            with_no = {faults: chance - with_yes[faults] for faults, chance in chances.items()}
            best = min(best, cost * every + self.worth(with_yes) + self.worth(with_no))
        return best

    def least(self, chances: Chances, tries: int = 4) -> float:
        """The least expected cost by any order of so many cures, giving up at any point."""
        left = {faults: chance for faults, chance in chances.items() if faults}
        best = sum(left.values()) * self.prices.never_mended
        if tries:
            for cure in self.cures():
                spent = sum(left.values()) * self.prices.of_cure(cure)
                if spent < best:
                    best = min(best, spent + self.least(self._cured(left, cure), tries - 1))
        return best

    def _gain(self, left: Chances, cure: Cure) -> float:
        mended, fails = self._told[cure]
        whole = sum(chance for faults, chance in left.items() if faults <= mended)
        some = sum(chance for faults, chance in left.items() if faults & mended)
        every = sum(left.values())
        return (1 - fails) * (whole + 0.1 * some) / (every * self.prices.of_cure(cure)) if every else 0.0

    def _cured(self, left: Chances, cure: Cure) -> Chances:
        mended, fails = self._told[cure]
        found: Chances = {}
        for faults, chance in left.items():
            for after, share in ((faults - mended, 1 - fails), (faults, fails)):
                if after:
                    found[after] = found.get(after, 0.0) + chance * share
        return found

    @cached_property
    def _told(self) -> dict[Cure, tuple[Faults, float]]:
        return {cure: self._of(cure) for cure in self.cures()}

    def _of(self, cure: Cure) -> tuple[Faults, float]:
        step = Step(kind=_STEPS[cure.kind], of=cure.of)
        told = fates(self.beliefs.layout.sites, step, self.beliefs.layout.profile)
        mended = frozenset(number for number in self.matter if told[number].survives < 0.5)
        own = [told[number].survives for number in mended if self.beliefs.layout.sites[number].cure == cure]
        return mended, max([_BAD.get(step.kind, 0.0), *own])

    def after_step(self, step: Step | None) -> dict[frozenset[str], Chances]:
        """By what is then wrong (ids of what is wrong now), the chance of every set of faults."""
        sites, profile = self.beliefs.layout.sites, self.beliefs.layout.profile
        told = fates(sites, step, profile) if step is not None else ()
        found: dict[frozenset[str], Chances] = {}
        stands = self._stands(step)
        for faults, chance in self.now().items():
            for stays in product((True, False), repeat=len(faults)):
                share, after = chance, set()
                for number, still in zip(sorted(faults), stays, strict=True):
                    there = self._stays(number, step, told[number]) if step is not None else 1.0
                    share *= there if still else 1 - there
                    after |= {number} if still else set()
                for seen, part in self._seen(frozenset(after), stands):
                    if share * part > 0:
                        cell = found.setdefault(seen, {})
                        cell[frozenset(after)] = cell.get(frozenset(after), 0.0) + share * part
        return found

    def risk_cost(self, step: Step | None) -> float:
        """What it costs on the average to put right what a step breaks in parts that were sound."""
        if step is None:
            return 0.0
        layout, now, cost = self.beliefs.layout, self.now(), 0.0
        for site, fate in zip(layout.sites, fates(layout.sites, step, layout.profile), strict=True):
            own = {n for n in self.matter if layout.sites[n].part == site.part}
            sound = sum(chance for faults, chance in now.items() if not own & faults)
            mending = self.prices.of_cure(site.cure) if site.cure else self.prices.never_mended
            cost += fate.born * sound * min(mending, self.prices.never_mended)
        return cost

    def _stays(self, number: int, step: Step, fate: object) -> float:
        survives, born = fate.survives, fate.born  # type: ignore[attr-defined]
        own = step.kind in _BAD and self.beliefs.layout.sites[number].part == step.of
        return float(min(1.0, survives + _BAD[step.kind] - born)) if own else float(survives)

    def _seen(self, faults: Faults, stands: set[str]) -> Iterable[tuple[frozenset[str], float]]:
        """What is wrong in a capture, with its chance: loose links toss one coin each."""
        often = _AWAY_IN_A_WATCH if is_watched(self.beliefs.looks[-1]) else _AWAY
        loose = [number for number in sorted(faults) if self.beliefs.layout.sites[number].id.startswith("loose:")]
        for away in product((True, False), repeat=len(loose)):
            share, acting = 1.0, set(faults)
            for number, gone in zip(loose, away, strict=True):
                share *= often if gone else 1 - often
                acting -= set() if gone else {number}
            yield frozenset(id_ for id_, path in self.paths.items() if id_ in stands or path & acting), share

    def _stands(self, step: Step | None) -> set[str]:
        """Of what is wrong, the answers that no part of a step reaches: a capture does not ask for them again."""
        layout = self.beliefs.layout
        told = fates(layout.sites, step, layout.profile) if step is not None else ()
        reached = {number for number, fate in enumerate(told) if (fate.survives, fate.born) != (1, 0)}
        devices = {device.id for device in layout.profile.devices}
        wrong = {each.id for each in self.beliefs.current if each.wrong}
        return {id_ for id_ in wrong - devices if not reached & {stop.site for stop in layout.paths[id_]}}

    @cached_property
    def paths(self) -> dict[str, Faults]:
        """Per thing that is wrong, the sites that matter on its path."""
        layout = self.beliefs.layout
        return {
            each.id: frozenset(step.site for step in layout.paths[each.id]) & self.matter
            for each in self.beliefs.current
            if each.wrong
        }

    def lumped(self, outcomes: dict[frozenset[str], Chances]) -> list[Chances]:
        """Outcomes, those that are rarer than one in a hundred taken together where there are several."""
        rare = [each for each in outcomes.values() if sum(each.values()) < 0.01]
        if len(rare) < 2:
            return list(outcomes.values())
        rest: Chances = {}
        for each in rare:
            for faults, chance in each.items():
                rest[faults] = rest.get(faults, 0.0) + chance
        return [*(each for each in outcomes.values() if sum(each.values()) >= 0.01), rest]
