"""A unit of the casebook in place of a capture: all of its history is weighed, and its own baseline comes first."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from usbwatch.cli.unit.experience import has_default
from usbwatch.cli.unit.recorded import NONE_NEW
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.capture.saved import Saved
    from usbwatch.casebook import Book, Story
    from usbwatch.model import Experience, Look, Profile, SinceBaseline
    from usbwatch.model.history import Unit
    from usbwatch.show import Line, Localised

__all__ = ["WeighedUnit", "claim_lines", "named_unit", "noted_lines", "since_lines", "weighed_told", "weighed_unit"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedUnit:
    """A unit's history, and what it comes to."""

    told: Story
    profile: Profile
    localised: Localised
    looks: tuple[Look, ...]
    """What that rests on."""
    experience: Experience
    since: SinceBaseline | None
    """Beside its own baseline; None where it has none, or nothing was captured since."""


@contextmanager
def named_unit(argument: str, address: str | None) -> Iterator[tuple[Book, Unit] | None]:
    """The book and the unit that an argument names; None where it names a file, or there is no casebook.

    A file comes first: a unit with such a label is found when it is not there.
    A folder is no capture: a unit's photos may well stand in one that has its label.
    Raises ``BadCapture`` for what is neither.
    """
    from usbwatch.cli.unit.options import opened

    if _is_file(argument) or not (address or has_default()):
        yield None
        return
    with opened(address, must_exist=True) as book:
        yield book, _unit(argument, book)


def _is_file(argument: str) -> bool:
    return argument == "-" or (os.path.lexists(argument) and not os.path.isdir(argument))  # noqa: PTH112 - hostile names


def _unit(argument: str, book: Book) -> Unit:
    from usbwatch.errors import BadCapture, NoUnit
    from usbwatch.show.words import listed

    try:
        return book.unit(argument)
    except NoUnit as error:
        near = f"units with such a label: {listed(error.near)}" if error.near else "check the name"
        if os.path.isdir(argument):  # noqa: PTH112 - hostile names
            near = "it is a folder: give the captures in it, or a copied tree with --root"
        raise BadCapture(argument, "is neither a file nor a unit of the casebook", near) from None


def weighed_unit(book: Book, unit: Unit, named: str | None = None, at_hand: Sequence[str] = ()) -> WeighedUnit:
    """What all that the book holds of a unit comes to. Raises ``Refused`` where nothing was seen yet."""
    return weighed_told(book.story(unit), book, named=named, at_hand=at_hand)


def weighed_told(
    told: Story,
    book: Book,
    *,
    named: str | None = None,
    at_hand: Sequence[str] = (),
    new: Mapping[str, Saved] = NONE_NEW,
) -> WeighedUnit:
    """The same of a history that is not in the book yet; ``new`` are the captures in it that are not, by digest."""
    from usbwatch.cli.steps import part_at_hand
    from usbwatch.cli.unit.recorded import profile_of, weighed_story
    from usbwatch.show.since_view import changed_since

    profile = profile_of(told, book, named, new)
    experience = book.experience(profile.id)
    ready = tuple(part_at_hand(name, profile) for name in at_hand)
    localised, looks = weighed_story(
        told, book, profile, ready, insisted=named is not None, experience=experience, new=new
    )
    since = _since(told, book, localised, profile)
    if since is not None:
        changed = changed_since(since, profile)
        localised = replace(localised, checked=replace(localised.checked, since=changed))
    return WeighedUnit(
        told=told,
        profile=profile,
        localised=localised,
        looks=looks,
        experience=experience,
        since=since,
    )


def _since(told: Story, book: Book, localised: Localised, profile: Profile) -> SinceBaseline | None:
    """The latest capture of this visit beside the unit's baseline, unless that is the baseline itself."""
    from usbwatch.casebook import looks
    from usbwatch.compare import findings, since_baseline

    digest = next((one.capture for one in reversed(looks(told)) if one.capture), "")
    if told.baseline is None or not digest or digest == told.baseline.capture:
        return None
    before = book.saved_capture(told.baseline.capture).capture
    now = next(seen for seen, look in zip(localised.seen[::-1], looks(told)[::-1], strict=True) if look.capture)
    now_findings = now.findings or localised.checked.findings
    return since_baseline(before, findings(before, profile), now.capture, now_findings, profile)


def noted_lines(its: WeighedUnit) -> list[Line]:
    """What is to be known before the verdict is believed: how looks were read, what is on trial, what is not seen."""
    from usbwatch.casebook import looks, steps_since
    from usbwatch.show.lines import Style, line
    from usbwatch.show.story import notes, on_trial
    from usbwatch.show.words import part_name

    steps = [*(step for look in looks(its.told) for step in look.steps), *steps_since(its.told)]
    trial = [f"The {part_name(part, its.profile)} that is in is the one on trial." for part in on_trial(steps)]
    said = [*notes(its.localised), *trial]
    return [*(line(("Note: ", Style.CAUTION), one, hang=6) for one in said), *pending_lines(its.told, its.profile)]


def claim_lines(told: Story) -> list[Line]:
    """What was claimed when the unit last came in, and what liquid asks for (common practice, no source)."""
    from usbwatch.model.history import Opened, Reopened
    from usbwatch.safe import safe
    from usbwatch.show.lines import Style, line
    from usbwatch.show.ticket import labelled

    facts = [each.fact for each in told.standings if isinstance(each.fact, (Opened, Reopened))]
    intake = facts[-1].intake
    wet = [line(("! ", Style.CAUTION), (_LIQUID, Style.CAUTION), hang=2)] if intake.liquid else []
    return [*labelled("claimed", [safe(one) for one in intake.claims], 0, column=10), *wet]


_LIQUID = (
    "Liquid got into it: before it has power again, unplug the adapter, disconnect the battery, open it, and let it"
    " dry. Stop at a pack that is wet or swollen."
)


def since_lines(its: WeighedUnit) -> list[Line]:
    """What is not as it was at the unit's baseline; nothing where it has none, or nothing was captured since."""
    from usbwatch.cli.taking import local_time
    from usbwatch.show.since_view import since_view

    return since_view(its.since, its.profile, local_time(its.told.baseline_at)) if its.since is not None else []


def pending_lines(told: Story, profile: Profile) -> list[Line]:
    """What was done since the unit was last captured: no capture shows yet what it did."""
    from usbwatch.cli.unit.recorded import unseen_steps
    from usbwatch.show.lines import Style, line
    from usbwatch.show.words import listed, step_words

    pending = unseen_steps(told)
    if not pending:
        return []
    said = f"{listed([step_words(step, profile) for step in pending])}: not captured since. "
    return [
        line(("Note: ", Style.CAUTION), f"{said}Capture it: usbwatch unit capture {typed(told.label)} FILE", hang=6)
    ]
