"""What several looks at one unit come to, weighed together."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from usbwatch.localise import Beliefs
    from usbwatch.model import Experience, Look, Profile
    from usbwatch.show import Localised, Seen

__all__ = ["judged", "weighed"]


def weighed(
    seen: Sequence[Seen],
    profile: Profile,
    at_hand: tuple[str, ...] = (),
    *,
    insisted: bool,
    experience: Experience | None = None,
    label: str = "",
    pending: bool = False,
) -> tuple[Localised, tuple[Look, ...]]:
    """What is believed after the last look, and the looks that this rests on.

    ``insisted``: somebody named the profile. ``experience`` is what the shop's closed cases come to for it;
    ``label`` is of the unit whose history this is, ``pending`` whether something was done to it since.
    """
    from usbwatch.localise import suspects_of
    from usbwatch.plan import plan_and_repair
    from usbwatch.show import Checked, Localised

    seen = judged(seen, profile, insisted=insisted)
    beliefs, looks = _believed(profile, _looks(seen), experience)
    told, repair = plan_and_repair(beliefs, looks[-1].findings, at_hand)
    last = Checked(
        capture=seen[-1].capture,
        profile=profile,
        findings=looks[-1].findings,
        suspects=suspects_of(beliefs),
        plan=told,
        repair=repair,
        label=label,
        pending=pending,
    )
    result = Localised(checked=last, seen=tuple(seen), at_hand=at_hand, not_weighed=len(seen) - len(looks))
    return result, looks


def judged(seen: Sequence[Seen], profile: Profile, *, insisted: bool = False) -> tuple[Seen, ...]:
    """The looks of one case, oldest first, each with what it shows in the light of those before it."""
    from usbwatch.compare import beside_earlier, findings

    seen = _with_what_stands(seen)
    told = [findings(one.capture, profile, one.answers, insisted=insisted) for one in seen]
    return tuple(replace(one, findings=found) for one, found in zip(seen, beside_earlier(told, profile), strict=True))


def _with_what_stands(seen: Sequence[Seen]) -> list[Seen]:
    """Each look with what was answered before it and stands: a "no", until it is answered again or something is done.

    Where it was answered with no again, all looks since have it as tried twice: of the unit as it then was, it was.
    """
    from usbwatch.model import StepKind

    states: list[list[Seen]] = []
    for one in seen:
        if not states or any(step.kind is not StepKind.FLEX for step in one.steps):
            states.append([])
        states[-1].append(one)
    return [one for state in states for one in _of_one_state(state)]


def _of_one_state(seen: Sequence[Seen]) -> list[Seen]:
    """The same for looks between which nothing was done."""
    found: list[Seen] = []
    for one in seen:
        before = found[-1].answers if found else ()
        no = {answer.check for answer in before if not answer.yes}
        said = {answer.check for answer in one.answers}
        again = {answer.check for answer in one.answers if not answer.yes and answer.check in no}
        twice = again | {answer.check for answer in one.answers if not answer.yes and answer.again}
        standing = [answer for answer in before if not answer.yes and answer.check not in said]
        found = [_tried_twice(each, twice & no) for each in found]
        found.append(_tried_twice(replace(one, answers=(*standing, *one.answers)), again))
    return found


def _tried_twice(one: Seen, checks: Collection[str]) -> Seen:
    """A look in which these checks, where they were answered with no, were tried twice."""
    told = (replace(each, again=each.again or (not each.yes and each.check in checks)) for each in one.answers)
    return replace(one, answers=tuple(told))


def _looks(seen: Sequence[Seen]) -> tuple[Look, ...]:
    """What the captures showed, once they are judged."""
    from usbwatch.model import Look

    return tuple(Look(findings=one.findings, steps=one.steps) for one in seen if one.findings is not None)


def _believed(
    profile: Profile, looks: tuple[Look, ...], experience: Experience | None
) -> tuple[Beliefs, tuple[Look, ...]]:
    """What is to be believed, and the looks that it rests on: of more than can be weighed together, the latest."""
    from usbwatch.errors import TooManyLooks
    from usbwatch.localise import believe
    from usbwatch.plan import without_oldest

    while True:
        try:
            return believe(profile, looks, experience=experience), looks
        except TooManyLooks:
            looks = without_oldest(looks, profile)
