"""What the book holds of a unit, as the commands that weigh it need it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.capture.saved import Saved
    from usbwatch.casebook import Book, RecordedLook, Story
    from usbwatch.model import Capture, Experience, Look, Profile, Step
    from usbwatch.show import Localised, Seen

__all__ = ["NONE_NEW", "known_profile", "profile_of", "seen_of", "unseen_steps", "weighed_story"]


NONE_NEW: Mapping[str, Saved] = MappingProxyType({})


def profile_of(told: Story, book: Book, named: str | None = None, new: Mapping[str, Saved] = NONE_NEW) -> Profile:
    """The profile that was named; else the unit's own; else the one that its last capture fits, or the generic one.

    ``new`` are captures by digest that are not in the book yet.
    """
    from usbwatch import profile as profiles
    from usbwatch.casebook import looks
    from usbwatch.errors import Refused

    if named is not None:
        return profiles.find(named)
    if told.model:
        return _of_model(told)
    digest = next((one.capture for one in reversed(looks(told)) if one.capture), "")
    if not digest:
        raise Refused(
            f"unit {told.label} has neither a model nor a capture",
            f"capture it with usbwatch unit capture {typed(told.label)}, or say its model: "
            f"usbwatch unit amend {typed(told.label)} 1 --set model=NAME --reason known",
        )
    return _fitting(_capture(digest, book, new), told.label)


def known_profile(told: Story) -> Profile | None:
    """The profile of the unit's model; None where the model is not known, or has no profile here any more."""
    from usbwatch import profile as profiles
    from usbwatch.errors import UsbwatchError

    try:
        return profiles.find(told.model) if told.model else None
    except UsbwatchError:
        return None


def _of_model(told: Story) -> Profile:
    from usbwatch import profile as profiles
    from usbwatch.errors import NoProfile, Refused

    try:
        return profiles.find(told.model)
    except NoProfile:
        raise Refused(
            f"unit {told.label} is of model {told.model}, of which there is no profile here",
            f"add it with usbwatch profile add, or say another model: usbwatch unit amend {typed(told.label)} 1 "
            "--set model=NAME --reason …",
        ) from None


def unseen_steps(told: Story) -> tuple[Step, ...]:
    """The steps of this visit that no capture was taken after."""
    from itertools import takewhile

    from usbwatch.casebook import looks, steps_since

    later = takewhile(lambda look: not look.capture, reversed(looks(told)))
    return (*(step for look in [*later][::-1] for step in look.steps), *steps_since(told))


def _fitting(capture: Capture, label: str) -> Profile:
    """The profile that fits what firmware calls the unit; the generic one where none does, which is said."""
    from usbwatch import profile as profiles
    from usbwatch.cli.choosing import GENERIC, fitting_or_none
    from usbwatch.cli.screen import say
    from usbwatch.show.words import unit_name

    found = fitting_or_none(capture)
    if found is not None:
        return found
    say(
        f"usbwatch: no profile fits {unit_name(capture.unit)}, so it is compared by function alone; say its model: "
        f"usbwatch unit amend {typed(label)} 1 --set model=NAME --reason known"
    )
    return profiles.find(GENERIC)


def weighed_story(
    told: Story,
    book: Book,
    profile: Profile,
    at_hand: tuple[str, ...] = (),
    *,
    experience: Experience,
    insisted: bool = False,
    new: Mapping[str, Saved] = NONE_NEW,
) -> tuple[Localised, tuple[Look, ...]]:
    """What the present visit of a unit comes to, and the looks that this rests on.

    Raises ``Refused`` where nothing was seen in it.
    """
    from usbwatch.cli.weighing import weighed
    from usbwatch.errors import Refused

    seen = seen_of(told, book, profile, new)
    if not seen:
        raise Refused(
            f"nothing was seen of unit {told.label} since it came in",
            f"capture it: usbwatch unit capture {typed(told.label)}",
        )
    pending = bool(unseen_steps(told))
    return weighed(seen, profile, at_hand, insisted=insisted, experience=experience, label=told.label, pending=pending)


def seen_of(told: Story, book: Book, profile: Profile, new: Mapping[str, Saved] = NONE_NEW) -> tuple[Seen, ...]:
    """Each look of the present visit, oldest first, with the steps before it and what a person established."""
    from usbwatch.casebook import looks

    found: list[Seen] = []
    for look in looks(told):
        if look.capture:
            capture = _capture(look.capture, book, new)
        else:
            capture = _nothing_seen(look.at, found[-1].capture if found else _of_earlier_visit(told, book, new))
        found.append(_seen(look, capture, profile))
    return tuple(found)


def _of_earlier_visit(told: Story, book: Book, new: Mapping[str, Saved]) -> Capture | None:
    """The last capture that there is of a unit that came back: what it calls itself has not changed."""
    from usbwatch.model.history import Baselined, Captured

    digests = [each.fact.capture for each in told.standings if isinstance(each.fact, (Captured, Baselined))]
    return _capture(digests[-1], book, new) if digests else None


def _capture(digest: str, book: Book, new: Mapping[str, Saved]) -> Capture:
    return (new[digest] if digest in new else book.saved_capture(digest)).capture


def _seen(look: RecordedLook, capture: Capture, profile: Profile) -> Seen:
    from usbwatch.cli.taking import local_time
    from usbwatch.show import Seen

    return Seen(
        capture=capture,
        path=f"entry {look.number}",
        when=local_time(capture.taken_at if look.capture else look.at),
        steps=tuple(step for step in look.steps if _known(step, profile)),
        answers=tuple(answer for answer in look.answers if answer.check in _questions(profile)),
    )


def _nothing_seen(at: str, before: Capture | None) -> Capture:
    """A look at which nobody captured anything: every device is unseen, and answers are all there is."""
    from usbwatch.model import Capture, System, UnitStrings

    return Capture(
        taken_at=at,
        tool="",
        system=System(platform=""),
        unit=before.unit if before is not None else UnitStrings(),
        coverage=(),
        nodes=(),
    )


def _known(step: Step, profile: Profile) -> bool:
    """Whether the profile still has what the step was done to; it may have been edited since, and that is said."""
    from usbwatch.cli.screen import say

    known = step.of in ("", *(part.id for part in profile.parts), *(device.id for device in profile.devices))
    if not known:
        say(f"usbwatch: step {step.kind.value}:{step.of} is not weighed: profile {profile.id} has no such part.")
    return known


def _questions(profile: Profile) -> frozenset[str]:
    from usbwatch.plan import questions

    return frozenset(questions(profile))
