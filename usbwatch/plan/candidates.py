"""Everything that could be done next: hand checks, looks, measurements, and steps."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.contradictions import cannot_be_yes
from usbwatch.localise.observations import MEASURE, answered, measured, observed
from usbwatch.localise.sites import SiteKind, about, kind_of
from usbwatch.localise.weighing import Observation
from usbwatch.model.findings import Findings, Symptom
from usbwatch.model.plan import Action
from usbwatch.model.profile import PartKind, Profile
from usbwatch.model.steps import Step, StepKind
from usbwatch.model.suspects import Cure, CureKind
from usbwatch.plan.cautions import BATTERY_FIRST, cautions
from usbwatch.plan.money import VERIFY_MINUTES, Prices
from usbwatch.plan.standing import STEP_OF_CURE, Standing

__all__ = ["Candidate", "candidates", "flexing"]

_MEASURE_MINUTES, _FLEX_MINUTES = 10, 5
"""Bench time, elicited, no source."""

_MEASURED = {
    SiteKind.RAIL: "Measure {}: is it at its voltage, and free of a short to ground?",
    SiteKind.BROKEN: "Measure {} from end to end, unplugged: does every line conduct, and none to its neighbour?",
}
_METER_CAUTION = {
    SiteKind.RAIL: "A slip of the probe can short a rail: fix the ground lead first, and use one hand.",
    SiteKind.BROKEN: "",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One thing that could be done: an observation that changes nothing, or a step and the capture after it."""

    action: Action
    of: str
    words: str
    part_cost: float = 0.0
    """Spent on a part whatever comes of it."""
    price_if_mended: float = 0.0
    """Spent on a part when the one on trial is the cure."""
    minutes: int = 1
    yes: Observation | None = None
    """The observation as it is if all is well; hazards name sites of the layout. None for a step."""
    step: Step | None = None
    """None for an observation, and for a capture that is only repeated."""
    cautions: tuple[str, ...] = ()


_REPEAT = Candidate(
    action=Action.REPEAT, of="", words="Capture again, with nothing changed: is it the same?", minutes=VERIFY_MINUTES
)


def candidates(
    beliefs: Beliefs, findings: Findings, where: Standing, prices: Prices, at_hand: Collection[str] = ()
) -> Iterator[Candidate]:
    """Every candidate; ``findings`` are those of the last look, ``at_hand`` the parts on the shelf known to be good."""
    profile = beliefs.layout.profile
    yield from _checks(beliefs, findings)
    yield from _looks(beliefs, findings)
    if len(beliefs.looks) == 1:  # later looks have repeated the first
        yield _REPEAT
    yield from _measurements(beliefs, findings, where)
    first = _asked_first(beliefs, findings)
    steps = (
        *_steps(where, profile, prices),
        *_trials(where, profile, prices, at_hand),
        *_moves(beliefs, where, prices),
    )
    for each in steps:
        yield replace(each, cautions=(*each.cautions, *first.get(each.of, ())))
    yield from flexing(beliefs, where)


def _asked_first(beliefs: Beliefs, findings: Findings) -> dict[str, tuple[str, ...]]:
    """By id of a part that is touched, the questions about a danger in it that are still open.

    A danger is rare, and no evidence for or against anything else, so that
    what it is worth to ask cannot be told in money.
    """
    done, profile = _known(beliefs, findings), beliefs.layout.profile
    asked: dict[str, tuple[str, ...]] = {}
    for check in profile.checks:
        if check.stop and check.id not in done:
            subjects = set(about(check, profile))
            holders = {device.within for device in profile.devices if device.id in subjects}
            for part in profile.parts:
                if ({part.id, *part.joins}) & (subjects | holders):
                    asked[part.id] = (*asked.get(part.id, ()), f"Look first ({check.id}): {check.question}")
    return asked


def _known(beliefs: Beliefs, findings: Findings) -> set[str]:
    """What was seen or answered, in whatever look, and still holds."""
    return {each.id for each in beliefs.current} | {answer.check for answer in findings.answers}


def _checks(beliefs: Beliefs, findings: Findings) -> Iterator[Candidate]:
    """The checks that are open; what cannot be yes beside the last look is not asked."""
    done, profile = _known(beliefs, findings), beliefs.layout.profile
    for check in profile.checks:
        if check.id not in done and not cannot_be_yes(check, findings, profile):
            yield Candidate(
                action=Action.CHECK,
                of=check.id,
                words=check.question,
                minutes=check.minutes,
                yes=answered(beliefs.layout, check.id, yes=True),
                cautions=(check.caution,) if check.caution else (),
            )


def _looks(beliefs: Beliefs, findings: Findings) -> Iterator[Candidate]:
    """Devices that were not seen.

    Left out are those that an earlier look has told of, and three kinds: one that another hides, for it cannot be seen
    before that one is mended; one that no capture can show, where a hand check
    is about it; and an optional one, whose absence would tell nothing.
    """
    profile = beliefs.layout.profile
    devices = {device.id: device for device in profile.devices}
    checked = {check.needs[-1] for check in profile.checks if check.needs}
    known = _known(beliefs, findings)
    for finding in findings.findings:
        device = devices.get(finding.device)
        if device is None or device.id in known or device.optional:
            continue
        if finding.symptom is not Symptom.UNSEEN or finding.charged_to:
            continue
        if finding.by_hand_alone and device.id in checked:
            continue
        how = f" {finding.would_tell}" if finding.would_tell else ""
        yield Candidate(
            action=Action.LOOK,
            of=device.id,
            words=f"{device.name}: does it work?{how}",
            yes=observed(beliefs.layout, device, Symptom.WORKING),
        )


def _measurements(beliefs: Beliefs, findings: Findings, where: Standing) -> Iterator[Candidate]:
    profile = beliefs.layout.profile
    parts = {part.id: part for part in profile.parts}
    done = _known(beliefs, findings)
    asked = {check.needs[-1] for check in profile.checks if check.needs}
    for kind, of in map(kind_of, where.sites):
        if kind is SiteKind.RAIL and of in asked:
            continue  # a hand check of the profile measures it, and says where
        if kind in _MEASURED and f"{MEASURE}{of}" not in done:
            own = (_METER_CAUTION[kind],) if _METER_CAUTION[kind] else cautions(parts[of], profile)
            yield Candidate(
                action=Action.MEASURE,
                of=of,
                words=_MEASURED[kind].format(parts[of].name),
                minutes=_MEASURE_MINUTES,
                yes=measured(beliefs.layout, of, yes=True),
                cautions=own,
            )


_WORDS = {
    CureKind.RESEAT: "Open {}, look at both ends, seat it again, and capture again",
    CureKind.REPLACE: "Fit a new {} and capture again",
    CureKind.RELOAD: "{}: load its driver, unblock or enable it, and capture again",
    CureKind.DRAIN: "Leave the unit without adapter and battery for a minute, and capture again",
}


def _steps(where: Standing, profile: Profile, prices: Prices) -> Iterator[Candidate]:
    names = {part.id: part.name for part in profile.parts} | {device.id: device.name for device in profile.devices}
    for cure in where.cures:
        kind = STEP_OF_CURE[cure.kind]
        yield Candidate(
            action=Action(kind.value),
            of=cure.of,
            words=_WORDS[cure.kind].format(names.get(cure.of, "it")),
            part_cost=prices.part_of_cure(cure),
            minutes=prices.minutes_of_cure(cure) + VERIFY_MINUTES,
            step=Step(kind=kind, of=cure.of),
            cautions=_cautions(cure, profile),
        )


def _cautions(cure: Cure, profile: Profile) -> tuple[str, ...]:
    if cure.kind is CureKind.RELOAD:
        return ()
    return next((cautions(part, profile) for part in profile.parts if part.id == cure.of), (BATTERY_FIRST,))


def _trials(where: Standing, profile: Profile, prices: Prices, at_hand: Collection[str]) -> Iterator[Candidate]:
    """A part from the shelf costs bench time alone; when it is the cure, one must be bought."""
    parts = {part.id: part for part in profile.parts}
    for cure in where.cures:
        if cure.kind is CureKind.REPLACE and cure.of in at_hand and cure.of in parts:
            yield Candidate(
                action=Action.SWAP,
                of=cure.of,
                words=f"Fit the known-good {parts[cure.of].name} from the shelf on trial, and capture again",
                price_if_mended=prices.part_of_cure(cure),
                minutes=prices.minutes_of_cure(cure) + VERIFY_MINUTES,
                step=Step(kind=StepKind.SWAP, of=cure.of),
                cautions=_cautions(cure, profile),
            )


def _moves(beliefs: Beliefs, where: Standing, prices: Prices) -> Iterator[Candidate]:
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
                words=f"Move what is on {link.name} to {link.spare}, and capture again",
                minutes=prices.minutes_of_cure(cure) + VERIFY_MINUTES,
                step=Step(kind=StepKind.MOVE, of=link.id),
                cautions=_cautions(cure, profile),
            )


def flexing(beliefs: Beliefs, where: Standing) -> Iterator[Candidate]:
    """Every link that may make contact only at times, moved while a capture is taken; each once."""
    links = {part.id: part for part in beliefs.layout.profile.parts if part.kind is PartKind.LINK}
    done = {step.of for look in beliefs.looks for step in look.steps if step.kind is StepKind.FLEX}
    for kind, link in map(kind_of, where.sites):
        if kind is SiteKind.LOOSE and link in links and link not in done:
            yield Candidate(
                action=Action.FLEX,
                of=link,
                words=f"Move, warm and cool {links[link].name} while capturing: does anything come or go?",
                minutes=_FLEX_MINUTES,
                step=Step(kind=StepKind.FLEX, of=link),
                cautions=("Move it by hand alone and gently; warm it by hand, cool it by air.",),
            )
