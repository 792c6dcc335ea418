"""What several looks at one unit come to, weighed together."""

from __future__ import annotations

from collections.abc import Sequence
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

    told = [findings(one.capture, profile, one.answers, insisted=insisted) for one in seen]
    return tuple(replace(one, findings=found) for one, found in zip(seen, beside_earlier(told, profile), strict=True))


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
