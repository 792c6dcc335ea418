"""What to do next: the step, look or measurement with the least expected cost to the end."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import islice

from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.sites import UNKNOWN_PART
from usbwatch.model.findings import Findings
from usbwatch.model.plan import QUESTIONS, Action, Advice, Outcome, Plan, Proposal
from usbwatch.model.profile import Profile
from usbwatch.model.steps import Look
from usbwatch.model.suspects import CureKind
from usbwatch.plan.candidates import Candidate, answered_no_once, candidates, flexing
from usbwatch.plan.foresight import REST, Branch, Foresight
from usbwatch.plan.hazards import effects
from usbwatch.plan.lookahead import LEAST_BITS, Weighed, weighed
from usbwatch.plan.money import Prices, prices
from usbwatch.plan.rewatching import came_and_went, loose_links, shown_loose, watch_alone
from usbwatch.plan.saying import names_of, outcome_words, stay_words, why_look, why_same, why_stay, why_step
from usbwatch.plan.standing import Standing, standing
from usbwatch.plan.stopping import stops
from usbwatch.plan.worth import Tariff, Worth

__all__ = ["plan", "plan_and_repair"]

_CHANGES_NOTHING = QUESTIONS | {Action.REPEAT, Action.FLEX}


def plan(beliefs: Beliefs, findings: Findings, at_hand: Collection[str] = (), done: Collection[str] = ()) -> Plan:
    """What is worth doing next, given beliefs and the findings of the last look.

    Every candidate is weighed by its own cost and by what each of its
    outcomes then costs to the end; money that is spent already does not
    enter. Questions of which no answer tells anything are left out, but for one
    that comes first. Nothing is proposed whose expected total reaches what is lost by
    stopping; when nothing is left, the advice is to stop.

    ``at_hand``: ids of parts on the shelf that are known to be good.
    ``done``: ids of proposals (``Proposal.id``) that are not to be made again.
    """
    return plan_and_repair(beliefs, findings, at_hand, done)[0]


def plan_and_repair(
    beliefs: Beliefs, findings: Findings, at_hand: Collection[str] = (), done: Collection[str] = ()
) -> tuple[Plan, Proposal | None]:
    """The plan, and where it is to stop or a close call the best repair step, whether or not that is expected to pay.

    The best: of the steps that make the unit well at least half as often as
    the one that does so most often, the one with the least expected total.
    """
    dangers = stops((*beliefs.looks, Look(findings=findings)), beliefs.layout.profile)
    if dangers:
        return Plan(advice=Advice.DANGER, stops=dangers), None
    if findings.other_model:
        return Plan(advice=Advice.OTHER_MODEL), None
    chooser = _Chooser.of(beliefs, prices(beliefs.layout.profile), at_hand)
    if not any(each.wrong for each in beliefs.current):
        return Plan(advice=Advice.NOTHING_WRONG, proposals=_before_closing(chooser, findings, done)), None
    costs = chooser.prices
    every = candidates(beliefs, findings, chooser.where, costs, at_hand)
    found = chooser.ranked(each for each in every if f"{each.action.value}:{each.of}" not in done)
    once = answered_no_once(findings)
    ranked = [
        each
        for each in found
        if each.action not in _CHANGES_NOTHING
        or each.information_bits >= LEAST_BITS
        or (each.action is Action.CHECK and each.of in once)
    ]
    ranked = [each for each in ranked if each is ranked[0] or each.action not in QUESTIONS or not each.tells_nothing]
    kept = [each for each in ranked if costs.given_up is None or each.expected_total < costs.given_up]
    told = Plan(
        advice=Advice.GO_ON if kept else Advice.STOP,
        proposals=tuple(kept),
        expected_cost=ranked[0].expected_total if ranked else None,
        given_up=costs.given_up,
        assumed=(*costs.assumed, *chooser.where.reckoned_without),
    )
    return told, _repair(ranked) if told.close_call or told.advice is Advice.STOP else None


def _repair(ranked: Sequence[Proposal]) -> Proposal | None:
    mending = {each.id: sum(one.probability - one.slip for one in each.outcomes if one.mended) for each in ranked}
    steps = [each for each in ranked if each.action not in _CHANGES_NOTHING and mending[each.id] > 0]
    most = max((mending[each.id] for each in steps), default=0.0)
    return next((each for each in steps if mending[each.id] >= most / 2), None)


def _before_closing(chooser: _Chooser, findings: Findings, done: Collection[str]) -> tuple[Proposal, ...]:
    """What was wrong is well by now: a link that may come and go is moved once, where that pays, likeliest first.

    What came and went and was not watched again is watched whether or not that pays, with the likeliest of its links
    moved; by itself where it hangs on none. Beside a link that was as good as shown, no other is moved for it.
    """
    beliefs, unproven = chooser.beliefs, came_and_went(findings)
    loose = loose_links(beliefs)
    needs = {device.id: device.needs for device in beliefs.layout.profile.devices}
    links = {id_: max(loose.keys() & needs[id_], key=lambda link: loose[link], default="") for id_ in unproven}
    due = {*(f"{Action.FLEX.value}:{link}" for link in links.values() if link)}
    every = [*flexing(beliefs, chooser.where, again={*links.values()})]
    reached = {candidate.of for candidate in every}
    alone = [id_ for id_, link in links.items() if link not in reached]
    every += [watch_alone(beliefs, id_) for id_ in alone]
    due |= {f"{Action.LOOK.value}:{id_}" for id_ in alone}
    open_ = [each for each in every if f"{each.action.value}:{each.of}" not in done]
    most = 0.0 if due and shown_loose(beliefs, unproven) else chooser.closing
    kept = [each for each in chooser.ranked(open_) if each.id in due or each.expected_total < most]
    return tuple(sorted(kept, key=lambda each: (each.id not in due, -loose.get(each.of, 0.0))))


def _least_first(proposal: Proposal) -> tuple[float, float, int, str]:
    """Of equal totals the one that tells more: what it leaves open is then cheaper to ask than the total knows."""
    return round(proposal.expected_total, 6), -round(proposal.information_bits, 9), proposal.minutes, proposal.id


@dataclass(frozen=True, kw_only=True)
class _Chooser:
    """Weighs candidates for one unit."""

    beliefs: Beliefs
    where: Standing
    prices: Prices
    tariff: Tariff

    @classmethod
    def of(cls, beliefs: Beliefs, costs: Prices, at_hand: Collection[str]) -> _Chooser:
        where = standing(beliefs)
        tried = [cure.kind is CureKind.REPLACE and cure.of in at_hand for cure in where.cures]
        parts = [costs.part_of_cure(cure) for cure in where.cures]
        whole = [costs.of_cure(cure) for cure in where.cures]
        tariff = Tariff(
            always=tuple(cost - part * on_trial for cost, part, on_trial in zip(whole, parts, tried, strict=True)),
            if_mended=tuple(part * on_trial for part, on_trial in zip(parts, tried, strict=True)),
            given_up=costs.never_mended,
        )
        return cls(beliefs=beliefs, where=where, prices=costs, tariff=tariff)

    @cached_property
    def ahead(self) -> Foresight:
        """What the candidates can show."""
        return Foresight(beliefs=self.beliefs, where=self.where)

    @cached_property
    def _names(self) -> dict[str, str]:
        return names_of(self.beliefs.layout.profile)

    @property
    def closing(self) -> float:
        """What is lost on the average by giving the unit out as it stands."""
        return (1 - float(self.where.chances[self.where.masks == 0].sum())) * self.prices.never_mended

    def ranked(self, every: Iterable[Candidate]) -> list[Proposal]:
        """The candidates as proposals, least expected total first."""
        all_ = weighed(list(every), self.ahead, self.tariff, self.prices)
        likeliest = iter(self._likeliest([branch for one in all_ for branch in one.branches]))
        found = [self._proposal(one, list(islice(likeliest, len(one.branches)))) for one in all_]
        return sorted(found, key=_least_first)

    def _proposal(self, one: Weighed, likeliest: Sequence[tuple[str, float]]) -> Proposal:
        candidate, profile = one.candidate, self.beliefs.layout.profile
        does = effects(candidate.step, self.ahead, self.prices)
        outcomes = tuple(
            sorted(
                (self._outcome(candidate, *each) for each in zip(one.branches, one.ends, likeliest, strict=True)),
                key=lambda outcome: -outcome.probability,
            )
        )
        return Proposal(
            action=candidate.action,
            of=candidate.of,
            words=candidate.words,
            cost=one.cost,
            minutes=candidate.minutes,
            expected_total=one.cost + does.risk_cost + sum(each.probability * each.expected_cost for each in outcomes),
            information_bits=one.information_bits,
            outcomes=outcomes,
            cautions=candidate.cautions,
            why=self._why(candidate)(outcomes, profile),
            mends=does.mends,
            breaks=does.breaks,
            risk=does.risk,
        )

    @cached_property
    def _well_now(self) -> bool:
        return not any(each.wrong for each in self.beliefs.current)

    def _why(self, candidate: Candidate) -> Callable[[Sequence[Outcome], Profile], str]:
        """How it is explained: an observation, a step, or a capture that can only show whether the fault stays."""
        if candidate.yes is not None:
            return why_look
        if candidate.action not in (Action.FLEX, Action.REPEAT):
            return why_step
        return why_stay if self._well_now else why_same

    def _outcome(self, candidate: Candidate, branch: Branch, end: Worth, likeliest: tuple[str, float]) -> Outcome:
        part, chance = likeliest
        if candidate.yes is not None:
            words = "yes" if branch.well else "no"
        else:
            told = stay_words if self._well_now else outcome_words
            words = told(branch.well, self.where.wrong, self._names)
        bought = candidate.price_if_mended if branch.well else 0.0
        mended = candidate.yes is None and len(branch.well) == len(self.where.wrong) and branch.well != (REST,)
        return Outcome(
            words=words,
            probability=branch.probability,
            points_to=part,
            chance=chance,
            expected_cost=end.expected_cost / branch.probability + bought,
            stops=end.stops,
            mended=mended,
            slip=branch.of_none(self.where) if mended or (candidate.yes is not None and branch.well) else 0.0,
        )

    def _likeliest(self, found: Sequence[Branch]) -> list[tuple[str, float]]:
        """Per branch the part that is likeliest at fault; "?" when it is likelier that none is."""
        import numpy as np

        if not found:
            return []
        parts = (UNKNOWN_PART, *self.where.of_part)
        bits = np.array(list(self.where.of_part.values()), dtype=np.uint64)
        masks = np.concatenate([branch.masks for branch in found])
        held = np.column_stack([masks == 0, (masks[:, None] & bits) != 0])
        chances = np.concatenate([branch.chances for branch in found])
        starts = np.cumsum([0, *(len(branch.masks) for branch in found[:-1])])
        shares = np.add.reduceat(held * chances[:, None], starts, axis=0)
        likeliest = shares.argmax(axis=1)
        highest = shares[np.arange(len(found)), likeliest]
        return [
            (parts[part], chance / branch.probability)
            for part, chance, branch in zip(likeliest.tolist(), highest.tolist(), found, strict=True)
        ]
