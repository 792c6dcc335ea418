"""The steps that could be done next: each changes something about the unit, and another look follows.

``then`` says in words what look that is: of a unit whose fault comes and goes a plain capture would prove nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.sites import SiteKind, kind_of
from usbwatch.model.plan import Action
from usbwatch.model.profile import PartKind, Profile
from usbwatch.model.steps import Step, StepKind
from usbwatch.model.suspects import Cure, CureKind
from usbwatch.plan.candidate import Candidate
from usbwatch.plan.cautions import BATTERY_FIRST, cautions
from usbwatch.plan.money import VERIFY_MINUTES, Prices
from usbwatch.plan.standing import STEP_OF_CURE, Standing

__all__ = ["cautions_of", "flexing", "moves", "steps", "trials"]

_FLEX_MINUTES = 5
"""Bench time, elicited, no source."""

_WORDS = {
    CureKind.RESEAT: "Open {}, look at both ends, seat it again, and {then}",
    CureKind.REPLACE: "Fit a new {} and {then}",
    CureKind.RELOAD: "{}: load its driver, unblock or enable it, and {then}",
    CureKind.DRAIN: "Leave the unit without adapter and battery for a minute, and {then}",
}


def steps(where: Standing, profile: Profile, prices: Prices, then: str) -> Iterator[Candidate]:
    """The step of every cure of what is suspected."""
    names = {part.id: part.name for part in profile.parts} | {device.id: device.name for device in profile.devices}
    for cure in where.cures:
        kind = STEP_OF_CURE[cure.kind]
        yield Candidate(
            action=Action(kind.value),
            of=cure.of,
            words=_WORDS[cure.kind].format(names.get(cure.of, "it"), then=then),
            part_cost=prices.part_of_cure(cure),
            minutes=prices.minutes_of_cure(cure) + VERIFY_MINUTES,
            step=Step(kind=kind, of=cure.of),
            cautions=cautions_of(cure, profile),
        )


def cautions_of(cure: Cure, profile: Profile) -> tuple[str, ...]:
    """The cautions that go with the step of a cure."""
    if cure.kind is CureKind.RELOAD:
        return ()
    return next((cautions(part, profile) for part in profile.parts if part.id == cure.of), (BATTERY_FIRST,))


def trials(
    where: Standing, profile: Profile, prices: Prices, at_hand: Collection[str], then: str
) -> Iterator[Candidate]:
    """A part from the shelf costs bench time alone; when it is the cure, one must be bought."""
    parts = {part.id: part for part in profile.parts}
    for cure in where.cures:
        if cure.kind is CureKind.REPLACE and cure.of in at_hand and cure.of in parts:
            yield Candidate(
                action=Action.SWAP,
                of=cure.of,
                words=f"Fit the known-good {parts[cure.of].name} from the shelf on trial, and {then}",
                price_if_mended=prices.part_of_cure(cure),
                minutes=prices.minutes_of_cure(cure) + VERIFY_MINUTES,
                step=Step(kind=StepKind.SWAP, of=cure.of),
                cautions=cautions_of(cure, profile),
            )


def moves(beliefs: Beliefs, where: Standing, prices: Prices, then: str) -> Iterator[Candidate]:
    """What hangs on a link to another connector, where the profile says that there is one; each once."""
    profile = beliefs.layout.profile
    done = {step.of for look in beliefs.looks for step in look.steps if step.kind is StepKind.MOVE}
    suspected = {of for _, of in map(kind_of, where.sites)}
    for link in profile.parts:
        if link.kind is PartKind.LINK and link.spare and link.id in suspected - done:
            cure = Cure(kind=CureKind.RESEAT, of=link.id)
            yield Candidate(
                action=Action.MOVE,
                of=link.id,
                words=f"Move what is on {link.name} to {link.spare}, and {then}",
                minutes=prices.minutes_of_cure(cure) + VERIFY_MINUTES,
                step=Step(kind=StepKind.MOVE, of=link.id),
                cautions=cautions_of(cure, profile),
            )


def flexing(beliefs: Beliefs, where: Standing, again: Collection[str] = ()) -> Iterator[Candidate]:
    """Every link that may make contact only at times, moved while the unit is watched; each once.

    A link of ``again`` is moved once more: what was mended since is proven by that.
    """
    links = {part.id: part for part in beliefs.layout.profile.parts if part.kind is PartKind.LINK}
    done = {step.of for look in beliefs.looks for step in look.steps if step.kind is StepKind.FLEX}.difference(again)
    for kind, link in map(kind_of, where.sites):
        if kind is SiteKind.LOOSE and link in links and link not in done:
            name = links[link].name
            yield Candidate(
                action=Action.FLEX,
                of=link,
                words=f"Move, warm and cool {name} while watching (usbwatch watch): does anything come or go?",
                minutes=_FLEX_MINUTES,
                step=Step(kind=StepKind.FLEX, of=link),
                cautions=("Move it by hand alone and gently; warm it by hand, cool it by air.",),
            )
