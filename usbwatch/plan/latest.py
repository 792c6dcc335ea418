"""More looks than can be weighed together: the oldest are given up, and what must not be lost with them is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from usbwatch.localise.sites import fitted
from usbwatch.model.findings import Answer
from usbwatch.model.profile import Profile
from usbwatch.model.steps import Look, StepKind
from usbwatch.plan.stopping import stops

__all__ = ["without_oldest"]


def without_oldest(looks: Sequence[Look], profile: Profile) -> tuple[Look, ...]:
    """The looks but for the oldest; at least two are needed.

    The steps before it count as done before the next one. Its answers stand
    with the next one where nothing was done in between, and a danger that it
    has shown stands in any case until the part is replaced.
    """
    oldest, then, *rest = looks
    answered = {answer.check for answer in then.findings.answers}
    kept = () if then.steps else tuple(each for each in oldest.findings.answers if each.check not in answered)
    known = answered | {each.check for each in kept}
    dangers = tuple(Answer(check=id_, yes=False) for id_ in _dangers((oldest, then), profile) if id_ not in known)
    carried = (*dangers, *kept, *then.findings.answers)
    done = tuple(step for step in oldest.steps if step.kind is not StepKind.FLEX)
    first = replace(then, steps=(*done, *then.steps), findings=replace(then.findings, answers=carried))
    return (first, *rest)


def _dangers(looks: Sequence[Look], profile: Profile) -> list[str]:
    """Ids of the checks whose danger stands after these looks."""
    own = fitted(profile, looks[-1].findings.variant)
    return [check.id for check in own.checks if check.stop and stops(looks, replace(own, checks=(check,)))]
