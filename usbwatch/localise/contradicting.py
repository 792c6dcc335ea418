"""Answers of a person that cannot all be so beside what the same look shows, or beside each other.

None of them is thrown away: the chances of all faults rest on every word,
and only a person can find out which one was mistaken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

from usbwatch.localise.sites import about, fitted
from usbwatch.model.findings import Finding, Findings, Symptom
from usbwatch.model.profile import HandCheck, PartKind, Profile

__all__ = ["Contradiction", "cannot_be_yes", "contradictions"]

_WORK_UNSEEN = frozenset({"battery", "fan", "lid", "mains-adapter", "panel", "power-button"})
"""Functions whose parts do their work whether or not the system shows them.

A pack whose gauge is lost still gives power, a button whose object firmware
does not declare still switches the unit on, and a screen is lit by firmware.
"""

_NOT_THERE = (Symptom.ABSENT, Symptom.FAILED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """A check that was answered with yes, and what that yes cannot be beside."""

    check: str
    device: str = ""
    """Id of a device that the look shows as lost and that the yes depends on; "" where it is another answer."""
    other: str = ""
    """Id of a check that was answered with no, and is about a supply or a section that the yes depends on."""


def contradictions(findings: Findings, profile: Profile) -> tuple[Contradiction, ...]:
    """Every answer of one look that contradicts what it shows, or another answer; in the profile's order."""
    profile = fitted(profile, findings.variant)
    answers = {answer.check: answer.yes for answer in findings.answers}
    answered = [check for check in profile.checks if check.id in answers]
    yes = [check for check in answered if answers[check.id]]
    no = [check for check in answered if not answers[check.id]]
    lost = ((check, cannot_be_yes(check, findings, profile)) for check in yes)
    of_look = (Contradiction(check=check.id, device=device) for check, device in lost if device)
    return (*of_look, *_among(yes, no, profile))


def cannot_be_yes(check: HandCheck, findings: Findings, profile: Profile) -> str:
    """Id of a device that the check depends on and that the look shows as lost, so that its answer is no; "" for none.

    What another lost device hides is lost with it.
    """
    devices = {device.id: device for device in profile.devices}
    found = {finding.device: finding for finding in findings.findings}
    return next(
        (
            need
            for need in _needs(check, profile)
            if need in devices and need in found and devices[need].function not in _WORK_UNSEEN
            if _is_lost(found[need], found)
        ),
        "",
    )


def _is_lost(finding: Finding, found: dict[str, Finding]) -> bool:
    charged = found.get(finding.charged_to)
    return finding.symptom in _NOT_THERE or (charged is not None and charged.symptom in _NOT_THERE)


def _needs(check: HandCheck, profile: Profile) -> tuple[str, ...]:
    """All that a check depends on: what it names, and what the devices among that need; each once, nearest first."""
    devices = {device.id: device for device in profile.devices}
    found: dict[str, None] = {}
    open_ = list(reversed(check.needs))
    while open_:
        need = open_.pop(0)
        if need not in found:
            found[need] = None
            open_ += reversed(devices[need].needs) if need in devices else ()
    return tuple(found)


def _among(yes: list[HandCheck], no: list[HandCheck], profile: Profile) -> Iterator[Contradiction]:
    """A yes that depends on a board section or a supply, and a no that says that this is not working.

    Any other two answers can both be so: a link that is torn leaves some lines
    whole, and a pack that takes a charge need not give one.
    """
    without = {part.id for part in profile.parts if part.kind in (PartKind.SECTION, PartKind.RAIL)}
    for one, other in product(yes, no):
        subjects = about(other, profile)
        if subjects and without.issuperset(subjects) and set(_needs(one, profile)).issuperset(subjects):
            yield Contradiction(check=one.id, other=other.id)
