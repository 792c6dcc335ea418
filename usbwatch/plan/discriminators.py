"""Observations not yet made, by how well they would tell the suspects apart.

Bits say what an observation tells, not what it is worth: which step to take
is a question of cost as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log2

from usbwatch.localise.observations import answered, observations, observed
from usbwatch.localise.paths import Layout, lay_out
from usbwatch.localise.posterior import FaultSet, Observation, likelihood, posterior
from usbwatch.localise.suspicion import accounts_for
from usbwatch.model.findings import Findings, Symptom
from usbwatch.model.profile import Profile
from usbwatch.model.suspects import Discriminator

__all__ = ["DEPTH", "LEAST_BITS", "stops", "tell_apart"]

LEAST_BITS = 0.02
"""An observation that is expected to tell less than this, in bits, is not worth a person's time."""

_WORTH_WITHOUT_TURN = 0.15
"""Bits from which on a question is asked although both answers leave the same part in front."""

DEPTH = 2
"""Sets of up to so many faults are told apart."""

_Blame = frozenset[str]
"""The parts at fault behind what was found wrong; empty: none that the profile knows."""


def stops(findings: Findings, profile: Profile) -> tuple[str, ...]:
    """What is to be done at once, before anything else: the words of the checks whose no means danger."""
    failed = {answer.check for answer in findings.answers if not answer.yes}
    return tuple(check.stop for check in profile.checks if check.id in failed and check.stop)


def tell_apart(findings: Findings, profile: Profile) -> tuple[Discriminator, ...]:
    """What is still to be seen, best first: open hand checks and unseen devices.

    An observation's information is what its answer is expected to tell about
    which parts are at fault behind what was found wrong (mutual information,
    in bits). Nothing found wrong: nothing to tell apart. Where a check has
    shown a danger, or the unit is of another model, nothing is proposed.

    Three kinds of unseen device are left out: one that another hides, for it
    cannot be seen before that one is mended; one that no capture can show,
    where a hand check is about it; and an optional one, whose absence would
    tell nothing.
    """
    layout = lay_out(profile, findings.variant)
    evidence = observations(layout, findings)
    wrong = [each for each in evidence if each.wrong]
    if not wrong or findings.other_model or stops(findings, profile):
        return ()
    beliefs = posterior([site.prior for site in layout.sites], evidence, DEPTH)
    blames = _blames(layout, wrong, beliefs)
    found = [_discriminator(open_, layout, beliefs, blames) for open_ in _open(layout, findings)]
    telling = [each for each in found if each.information_bits >= LEAST_BITS and _moves(each)]
    return tuple(sorted(telling, key=lambda each: (-each.information_bits, each.minutes, each.id)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Open:
    """An observation not yet made."""

    yes: Observation
    """The same, as it would be if all is well with it."""
    question: str
    caution: str
    minutes: int


def _open(layout: Layout, findings: Findings) -> Iterator[_Open]:
    done = {answer.check for answer in findings.answers}
    for check in layout.profile.checks:
        if check.id not in done:
            yes = answered(layout, check.id, yes=True)
            yield _Open(yes=yes, question=check.question, caution=check.caution, minutes=check.minutes)
    checked = {check.needs[-1] for check in layout.profile.checks if check.needs}
    unseen = {
        each.device: each
        for each in findings.findings
        if each.symptom is Symptom.UNSEEN
        and not each.charged_to
        and not (each.by_hand_alone and each.device in checked)
    }
    for device in layout.profile.devices:
        if device.id in unseen and not device.optional:
            how = unseen[device.id].would_tell
            question = f"{device.name}: does it work? {how}" if how else f"{device.name}: does it work?"
            yield _Open(yes=observed(layout, device, Symptom.WORKING), question=question, caution="", minutes=1)


def _blames(layout: Layout, wrong: list[Observation], beliefs: dict[FaultSet, float]) -> dict[FaultSet, _Blame]:
    """Per fault set, the parts of those faults that account for something found wrong."""
    at_fault = {hazard.site for each in wrong for hazard in each.hazards if accounts_for((hazard.site,), each)}
    return {faults: frozenset(layout.sites[site].part for site in faults if site in at_fault) for faults in beliefs}


def _discriminator(
    open_: _Open, layout: Layout, beliefs: dict[FaultSet, float], blames: dict[FaultSet, _Blame]
) -> Discriminator:
    yes, no = _by_answer(open_.yes, beliefs, blames)
    return Discriminator(
        id=open_.yes.id,
        question=open_.question,
        information_bits=_mutual_information_bits(yes, no),
        if_yes=_points_to(yes, layout.profile),
        if_no=_points_to(no, layout.profile),
        caution=open_.caution,
        minutes=open_.minutes,
    )


def _moves(one: Discriminator) -> bool:
    """Whether the two answers point to different parts, or move the odds so far that asking is worth it."""
    same = one.if_yes.rpartition(" (")[0] == one.if_no.rpartition(" (")[0]
    return not same or one.information_bits >= _WORTH_WITHOUT_TURN


def _by_answer(
    yes: Observation, beliefs: dict[FaultSet, float], blames: dict[FaultSet, _Blame]
) -> tuple[dict[_Blame, float], dict[_Blame, float]]:
    """Probability of each blame together with the answer yes, and with the answer no."""
    path = {hazard.site for hazard in yes.hazards}
    with_yes: dict[_Blame, float] = dict.fromkeys(blames.values(), 0.0)
    with_no = dict(with_yes)
    for faults, probability in beliefs.items():
        well = yes.clean if path.isdisjoint(faults) else likelihood(yes, faults)
        with_yes[blames[faults]] += probability * well
        with_no[blames[faults]] += probability * (1 - well)
    return with_yes, with_no


def _mutual_information_bits(yes: dict[_Blame, float], no: dict[_Blame, float]) -> float:
    bits = 0.0
    for answer in (yes, no):
        chance = sum(answer.values())
        for blame, joint in answer.items():
            if joint > 0:
                bits += joint * (log2(joint / chance) - log2(yes[blame] + no[blame]))
    return max(0.0, bits)


def _points_to(answer: dict[_Blame, float], profile: Profile) -> str:
    """The likeliest part at fault once this answer is known, in words."""
    chances: dict[str, float] = {}
    for blame, joint in answer.items():
        for part in sorted(blame):
            chances[part] = chances.get(part, 0.0) + joint
    part, chance = max(chances.items(), key=lambda each: each[1], default=("", 0.0))
    none = answer.get(frozenset(), 0.0)
    told = f"points to {_name(part, profile)}" if chance > none else "clears every part that the profile knows"
    return f"{told} ({min(99, round(100 * max(chance, none) / sum(answer.values())))}%)"


def _name(part: str, profile: Profile) -> str:
    """A part by its name in the profile; "" stands for what replacing no part mends."""
    return ({each.id: each.name for each in profile.parts} | {"": "software"}).get(part, part)
