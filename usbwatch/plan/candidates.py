"""Everything that could be done next: hand checks, looks, measurements, and steps."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from itertools import chain

from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.contradicting import cannot_be_yes
from usbwatch.localise.evidence import asked_again
from usbwatch.localise.observations import answered, observed
from usbwatch.localise.sites import SiteKind, about, kind_of
from usbwatch.localise.tried import ELSEWHERE, MEASURE, helped, measured, works_elsewhere
from usbwatch.model.findings import Findings, Symptom
from usbwatch.model.plan import Action
from usbwatch.model.profile import PartKind
from usbwatch.model.suspects import CureKind
from usbwatch.plan.asked import HELPERS, question
from usbwatch.plan.candidate import Candidate
from usbwatch.plan.cautions import cautions
from usbwatch.plan.deeds import cautions_of, flexing, moves, steps, trials
from usbwatch.plan.money import VERIFY_MINUTES, Prices
from usbwatch.plan.rewatching import comes_and_goes, plugs_first, shown_loose
from usbwatch.plan.standing import Standing

__all__ = ["UNIT_AT_HAND", "Candidate", "answered_no_once", "candidates", "flexing"]

_MEASURE_MINUTES = 10
"""Bench time, elicited, no source."""

UNIT_AT_HAND = "unit"
"""Among what lies ready: another unit of the model that works, in which a part can be tried."""

ONCE_MORE = "Try once more:"
"""Before the question of a check that was answered with no."""

_MEASURED = frozenset({SiteKind.RAIL, SiteKind.BROKEN})
_METER_CAUTION = {
    SiteKind.RAIL: "A slip of the probe can short a rail: fix the ground lead first, and use one hand.",
    SiteKind.BROKEN: "",
}


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
    at_times = comes_and_goes(beliefs, findings)
    if len(beliefs.looks) == 1 and not at_times:  # later looks have repeated the first
        yield _REPEAT
    yield from _measurements(beliefs, findings, where)
    yield from _substitutes(beliefs, findings, where)
    if UNIT_AT_HAND in at_hand:
        yield from _tried_elsewhere(beliefs, findings, where, prices)
    first = _asked_first(beliefs, findings)
    then = "watch again" if at_times else "capture again"
    deeds = (
        steps(where, profile, prices, then),
        trials(where, profile, prices, at_hand, then),
        moves(beliefs, where, prices, then),
    )
    plugs = plugs_first(findings, profile)
    for each in chain.from_iterable(deeds):
        words = (
            f"First {plugs[each.of]}; else: {each.words}"
            if each.action is Action.FIT and each.of in plugs
            else each.words
        )
        yield replace(each, words=words, cautions=(*each.cautions, *first.get(each.of, ())))
    if not (at_times and shown_loose(beliefs, where.wrong)):
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
    """The checks that are open, and those whose "no" may be a mistake, for it came but once.

    What cannot be yes beside the last look is not asked.
    """
    done, profile = _known(beliefs, findings), beliefs.layout.profile
    once = answered_no_once(findings)
    for check in profile.checks:
        doubtful = check.id in once
        if (check.id in done and not doubtful) or cannot_be_yes(check, findings, profile):
            continue
        yield Candidate(
            action=Action.CHECK,
            of=check.id,
            words=f"{ONCE_MORE} {check.question}" if doubtful else check.question,
            minutes=check.minutes,
            yes=(asked_again(beliefs.layout, check.id) if doubtful else answered(beliefs.layout, check.id, yes=True)),
            cautions=(check.caution,) if check.caution else (),
        )


def answered_no_once(findings: Findings) -> frozenset[str]:
    """Ids of the checks whose "no" may be a mistake; while one stands that means danger, nothing is proposed."""
    return frozenset(answer.check for answer in findings.answers if not (answer.yes or answer.again))


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
                words=question(f"{MEASURE}{of}", profile),
                minutes=_MEASURE_MINUTES,
                yes=measured(beliefs.layout, of, yes=True),
                cautions=own,
            )


_HELPER_MINUTES = 5
"""To plug a helper device in and capture again (elicited, no source)."""


def _substitutes(beliefs: Beliefs, findings: Findings, where: Standing) -> Iterator[Candidate]:
    """A helper device for each function on USB that software may be keeping away."""
    profile, done = beliefs.layout.profile, _known(beliefs, findings)
    silent = {of for kind, of in map(kind_of, where.sites) if kind is SiteKind.SOFTWARE}
    functions = dict.fromkeys(device.function for device in profile.devices if device.id in silent)
    for function in functions:
        yes = helped(beliefs.layout, function)
        if function in HELPERS and yes.hazards and yes.id not in done:
            yield Candidate(
                action=Action.HELPER,
                of=function,
                words=question(yes.id, profile),
                minutes=_HELPER_MINUTES,
                yes=yes,
            )


def _tried_elsewhere(beliefs: Beliefs, findings: Findings, where: Standing, prices: Prices) -> Iterator[Candidate]:
    """Every subassembly that is suspected, in another unit of the model: taken out of the one, put into the other."""
    profile, done = beliefs.layout.profile, _known(beliefs, findings)
    boards = {part.id for part in profile.parts if part.kind is PartKind.SUBASSEMBLY}
    for cure in where.cures:
        if cure.kind is CureKind.REPLACE and cure.of in boards and f"{ELSEWHERE}{cure.of}" not in done:
            yield Candidate(
                action=Action.ELSEWHERE,
                of=cure.of,
                words=question(f"{ELSEWHERE}{cure.of}", profile),
                minutes=2 * prices.minutes_of_cure(cure) + VERIFY_MINUTES,
                yes=works_elsewhere(beliefs.layout, cure.of, yes=True),
                cautions=cautions_of(cure, profile),
            )
