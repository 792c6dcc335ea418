"""A capture that was carried to the bench, taken in: to which unit it goes, and what was noted with it on the unit."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.casebook import Book, Story, When
    from usbwatch.cli.unit.stick_files import Carried
    from usbwatch.model import Answer, Profile, Step
    from usbwatch.model.history import Answered, Recorded, Unit
    from usbwatch.stick.notes import Notes

__all__ = ["taken_in"]


def taken_in(one: Carried, book: Book, moment: When) -> int:
    """Take a capture in, with its steps before it and its answers after it; the exit code of what that comes to.

    What the unit has already is left as it is. A unit that the casebook does not know is opened by the label that it
    was given on the unit. Raises ``BadCapture`` or ``Refused``.
    """
    from usbwatch.cli.screen import say
    from usbwatch.cli.unit.captures import captured

    if one.lost:
        say(f"usbwatch: {one.lost}")
    unit = _unit_of(one, book)
    if unit is None:
        return _opened(one, book, moment)
    if one.saved.digest in _digests(book.story(unit)):
        return _more_of_known(one, unit, book, moment)
    before = _steps(one.notes, book.story(unit), book)
    return captured(book, unit, [one.saved], moment, before=before, after=_answers(one, _profile_of(unit, one, book)))


def _digests(told: Story) -> set[str]:
    from usbwatch.model.history import Captured

    return {each.fact.capture for each in told.standings if isinstance(each.fact, Captured)}


def _unit_of(one: Carried, book: Book) -> Unit | None:
    """The unit on the bench that a capture is of: by its label, else by its serial number.

    A label does not count against a serial number: not for a unit of which there are captures, and not of this number.

    None for one that is new here and has a label. Raises ``BadCapture`` where it cannot be told whose it is.
    """
    from usbwatch.compare.serials import is_serial
    from usbwatch.errors import BadCapture
    from usbwatch.show.words import listed

    serial = one.saved.capture.unit.product_serial.strip()
    label = _label(one)
    found = [unit for unit in book.units_with(serial) if unit.ending is None] if is_serial(serial) else []
    named = _by_label(label, book) if label else None
    if named is not None and (named in found or not found or not _digests(book.story(named))):
        return named
    if len(found) == 1:
        _tell_of_label(label, found[0])
        return found[0]
    if found:
        labels = listed([unit.label for unit in found])
        remedy = "name one: usbwatch unit capture UNIT FILE"
        raise BadCapture(one.path, f"fits several units on the bench ({labels})", remedy)
    if label:
        return None
    if not is_serial(serial):
        remedy = "record it with usbwatch unit capture UNIT FILE"
        raise BadCapture(one.path, "gives no serial number of its unit, so that it cannot be told whose it is", remedy)
    remedy = f"take the unit in: usbwatch unit open LABEL {typed(one.path)}; if it came back: usbwatch unit reopen"
    raise BadCapture(one.path, f"is of a unit that is not on the bench (serial number {serial})", remedy)


def _tell_of_label(label: str, unit: Unit) -> None:
    """Say where a capture goes by its serial number although another label was given on the unit."""
    from usbwatch.casebook.rules import folded
    from usbwatch.cli.screen import say

    if label and folded(label) != folded(unit.label):
        remedy = f"to change its label: usbwatch unit amend {typed(unit.label)} 1 --set label={typed(label)}"
        said = f"labelled {label} on the unit; by its serial number it is unit {unit.label}, and goes there"
        say(f"usbwatch: {said} ({remedy})")


def _label(one: Carried) -> str:
    """The label that was typed on the unit, "" for none that the casebook would take."""
    from usbwatch.casebook.rules import checked_label
    from usbwatch.errors import Refused

    try:
        return checked_label(one.label) if one.label else ""
    except Refused:
        return ""


def _by_label(label: str, book: Book) -> Unit | None:
    """The unit on the bench with exactly this label. Raises ``Refused`` for one that was closed."""
    from usbwatch.errors import NoUnit, Refused

    try:
        unit = book.unit(label)
    except NoUnit:
        return None
    if unit.ending is not None:
        what = f"the capture is labelled {unit.label}, and that unit is closed ({unit.ending.value})"
        raise Refused(what, f"if it came back: usbwatch unit reopen {typed(unit.label)}; then import again")
    return unit


def _opened(one: Carried, book: Book, moment: When) -> int:
    """A unit that is new here, opened by the label that it was given on the unit, with its first capture."""
    from usbwatch.cli.screen import say
    from usbwatch.cli.unit.captures import prepared, tell
    from usbwatch.cli.unit.coming_in import known_refused, model_of
    from usbwatch.model.history import Opened

    known_refused(book, [one.saved])
    opening = Opened(label=_label(one), model=_model(one.notes) or model_of(None, [one.saved]))
    after = _answers(one, _profile(opening.model, one))
    ready = prepared(book, [one.saved], lambda facts: book.draft_of_new(opening, [*facts, *after], moment))
    unit, entries = book.open_unit(opening, moment, [*ready.facts, *after], ready.papers)
    say(f"usbwatch: unit {unit.label} is open, in {book.name}: that label was given on the unit")
    return tell(unit.label, ready, entries)


def _model(notes: Notes | None) -> str:
    """The profile that was picked on the unit, "" for none that is known here."""
    from usbwatch import profile as profiles

    picked = notes.profile if notes is not None else ""
    return picked if any(one.id == picked for one in profiles.known()) else ""


def _more_of_known(one: Carried, unit: Unit, book: Book, moment: When) -> int:
    """A capture that is there already: only answers that were given after it was taken in may be new."""
    from usbwatch.casebook import looks
    from usbwatch.cli.screen import say

    last = next(iter(reversed(looks(book.story(unit)))), None)
    after: list[Answered] = []
    if last is not None and last.capture == one.saved.digest:
        known = [fact for each in last.answers for fact in _tries(each)]
        after = [*(Counter(_answers(one, _profile_of(unit, one, book))) - Counter(known)).elements()]
    if after:
        book.record(unit, after, moment)
        say(f"usbwatch: unit {unit.label} has this capture already; what was answered since was added")
    else:
        say(f"usbwatch: unit {unit.label} has this capture already")
    return exits.WELL


def _steps(notes: Notes | None, told: Story, book: Book) -> list[Recorded]:
    """The steps before a capture as facts; one that the unit's profile does not know is told, and left out."""
    from usbwatch.casebook import looks, steps_since
    from usbwatch.cli.screen import say
    from usbwatch.cli.steps import refuse_back_too_soon
    from usbwatch.cli.steps import step as checked_step
    from usbwatch.cli.unit.recorded import profile_of
    from usbwatch.errors import UsbwatchError
    from usbwatch.model.history import StepDone

    done: list[Step] = []
    for step in notes.steps if notes is not None else ():
        try:
            its = checked_step(step.kind.value, step.of, profile_of(told, book), "step")
            before = [one for look in looks(told) for one in look.steps]
            refuse_back_too_soon([*before, *steps_since(told), *done, its], "step")
            done.append(its)
        except (click.BadParameter, UsbwatchError) as error:
            said = error.message if isinstance(error, click.BadParameter) else str(error)
            say(f"usbwatch: the step {step.kind.value}:{step.of} that was noted is left out: {said}")
    return [StepDone(step=one) for one in done]


def _answers(one: Carried, profile: Profile) -> list[Answered]:
    """The answers beside a capture as facts; one that the unit's profile does not ask is told, and left out."""
    from usbwatch.cli.answers import answers
    from usbwatch.cli.screen import say

    found: list[Answered] = []
    for answer in one.notes.answers if one.notes is not None else ():
        try:
            answers([(answer.check, answer.yes)], profile, "answer")
            found += _tries(answer)
        except click.BadParameter as error:
            say(f"usbwatch: the answer {answer.check} that was noted is left out: {error.message}")
    return found


def _tries(answer: Answer) -> list[Answered]:
    """An answer as what is recorded: a fact for each time that it was tried."""
    from usbwatch.model.history import Answered

    return [Answered(check=answer.check, yes=answer.yes)] * (2 if answer.again else 1)


def _profile_of(unit: Unit, one: Carried, book: Book) -> Profile:
    """The profile by which the unit is judged, once this capture is in the book."""
    from usbwatch.cli.unit.recorded import profile_of

    told = book.story(unit)
    return profile_of(told, book) if told.model or _digests(told) else _profile("", one)


def _profile(model: str, one: Carried) -> Profile:
    """The model's profile, or the one that the capture fits, or the generic one."""
    from usbwatch import profile as profiles
    from usbwatch.cli.choosing import GENERIC, fitting_or_none

    return profiles.find(model) if model else fitting_or_none(one.saved.capture) or profiles.find(GENERIC)
