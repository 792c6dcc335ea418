"""Dangers that a hand check has shown."""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.model.profile import HandCheck, Profile
from usbwatch.model.steps import Look, Step, StepKind

__all__ = ["stops"]

_REPLACES = frozenset({StepKind.SWAP, StepKind.FIT})
"""What takes a dangerous part out. A pack that has swollen stays so when its plug is seated again."""


def stops(looks: Sequence[Look], profile: Profile) -> tuple[str, ...]:
    """What is to be done at once, before anything else: the words of the checks whose no means danger.

    ``looks``, oldest first: a no counts until the check is answered with yes,
    or until a part that the check is about, or what that is a part of, is
    replaced; and again when the old part is put back.
    """
    return tuple(check.stop for check in profile.checks if check.stop and _is_dangerous(check, looks, profile))


def _is_dangerous(check: HandCheck, looks: Sequence[Look], profile: Profile) -> bool:
    about = _about(check, profile)
    dangerous, laid_aside = False, False
    for look in looks:
        for step in look.steps:
            if _replaces(step, about):
                dangerous, laid_aside = False, laid_aside or dangerous
            elif step.kind is StepKind.BACK and step.of in about:
                dangerous, laid_aside = laid_aside, False
        for answer in look.findings.answers:
            if answer.check == check.id:
                dangerous = not answer.yes
    return dangerous


def _about(check: HandCheck, profile: Profile) -> frozenset[str]:
    """The parts that a check needs, and the subassemblies that hold what it needs."""
    holders = {part.id: part.within for part in profile.parts}
    holders |= {device.id: device.within for device in profile.devices}
    return frozenset(id_ for need in check.needs for id_ in (need, holders.get(need, "")) if id_)


def _replaces(step: Step, about: frozenset[str]) -> bool:
    return step.kind in _REPLACES and step.of in about
