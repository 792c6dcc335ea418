"""``unit capture``, ``step``, ``answer``, ``note``, ``attach``: what was seen and done on the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.answers import answers, each, parsed_answer
from usbwatch.cli.options import book_option, example, log_option, root_option, through_option
from usbwatch.cli.steps import parsed_did
from usbwatch.cli.unit.options import MONEY, Whole, opened, time_options, unit_argument, when
from usbwatch.safe import typed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from usbwatch.casebook import Book, Story
    from usbwatch.model import Profile, Step
    from usbwatch.model.history import Answered, Entry, Unit

__all__ = ["GRADES", "attach_files", "note_text", "record_answers", "record_captures", "record_step"]

GRADES = {"known-good": "known good", "new": "new", "used": "used"}
"""What can be said of a part that is put in, as it is typed and as the model has it."""

_MINUTES = Whole(0, 100_000)


@click.command(
    name="capture",
    epilog=example("usbwatch unit capture LB-0001 second.json", "usbwatch unit capture LB-0001 --root copied-tree"),
)
@unit_argument
@click.argument("captures", nargs=-1, metavar="[CAPTURE]...", type=click.Path(allow_dash=True, readable=False))
@root_option
@log_option
@through_option
@click.option("--anyway", is_flag=True, help="Record it although the unit's serial number is another one.")
@time_options
@book_option
def record_captures(
    label: str,
    captures: tuple[str, ...],
    root: str | None,
    log: str | None,
    *,
    through: str | None,
    anyway: bool,
    at: str,
    by: str,
    book: str | None,
) -> int:
    """Record captures of a unit, and say what it comes to.

    Without CAPTURE this machine is captured now, or the tree given by --root.
    """
    from usbwatch.cli.unit.captures import captured, loaded_in_order, saved_now

    if captures and (root or log or through):
        raise click.UsageError(
            "--root, --log and --through are for capturing now; leave them out when a CAPTURE is given."
        )
    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        saved = loaded_in_order(captures) if captures else [saved_now(root, log, through)]
        return captured(its, unit, saved, when(at, by), anyway=anyway)


@click.command(
    name="step",
    epilog=example(
        "usbwatch unit step LB-0001 swap:top-case --part known-good --minutes 60",
        'usbwatch unit step LB-0001 reseat:top-case-flex --result "latch was open"',
    ),
)
@unit_argument
@click.argument("step", metavar="KIND:PART")
@click.option("--part", "grade", type=click.Choice(list(GRADES)), help="What is known of the part that was put in.")
@click.option("--serial", default="", help="Serial number of the part that was put in.")
@click.option("--cost", type=MONEY, help="What the part cost.")
@click.option("--minutes", type=_MINUTES, help="Bench time.")
@click.option("--result", default="", metavar="TEXT", help="What came of it, in words.")
@time_options
@book_option
def record_step(
    label: str,
    step: str,
    *,
    grade: str | None,
    serial: str,
    cost: int | None,
    minutes: int | None,
    result: str,
    at: str,
    by: str,
    book: str | None,
) -> int:
    """Record what was done to a unit. Capture it again after that: nothing else says what it did.

    KIND is reseat, swap (a part known to be good, on trial), fit (a part that
    stays), back (the first part again), move (to another connector that takes
    it), reload (driver or setting of a device), flex (moved, warmed or cooled
    during the capture that follows) or drain (left without any power; no PART).
    """
    from usbwatch.model.history import Grade, PartUsed, StepDone

    number, kind, of = parsed_did(step)
    if number:
        raise click.BadParameter(f"'{step}' names a capture by number; steps are recorded in their order.")
    part = PartUsed(grade=Grade(GRADES[grade]) if grade else None, serial=serial)
    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        done = _step(kind, of, its.story(unit), its)
        fact = StepDone(step=done, part=part, cost=cost, minutes=minutes, result=result)
        (entry,) = its.record(unit, [fact], when(at, by))
        _say(unit, entry, _then(its.story(unit), unit))
    return exits.WELL


def _then(told: Story, unit: Unit) -> str:
    """What to type after a step: capture again, unless a later capture already shows what it did."""
    from usbwatch.casebook import steps_since

    if steps_since(told):
        return f"what it did shows when you capture again: usbwatch unit capture {typed(unit.label)} FILE"
    return f"what it changes: usbwatch check {typed(unit.label)}"


def _step(kind: str, of: str, told: Story, book: Book) -> Step:
    from usbwatch.casebook import looks, steps_since
    from usbwatch.cli.steps import refuse_back_too_soon
    from usbwatch.cli.steps import step as checked_step
    from usbwatch.cli.unit.recorded import profile_of

    profile = profile_of(told, book)
    done = checked_step(kind, of, profile, "KIND:PART")
    before = [step for look in looks(told) for step in look.steps]
    refuse_back_too_soon([*before, *steps_since(told), done], "KIND:PART")
    return done


@click.command(name="answer", epilog=example("usbwatch unit answer LB-0001 runs-on-battery=no"))
@unit_argument
@click.argument("given", nargs=-1, required=True, metavar="CHECK=yes|no...", callback=each(parsed_answer))
@time_options
@book_option
def record_answers(label: str, given: tuple[tuple[str, bool], ...], *, at: str, by: str, book: str | None) -> int:
    """Record what hand checks, measurements and trials showed.

    A trial of a part in another unit of the model is elsewhere:PART, a
    measurement from end to end measure:LINK.
    """
    from usbwatch.cli.unit.recorded import profile_of
    from usbwatch.model.history import Answered

    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        profile = profile_of(its.story(unit), its)
        answers(given, profile, "CHECK=yes|no")
        facts = [Answered(check=check, yes=yes) for check, yes in given]
        _tell_of_second_tries(facts, its.story(unit))
        entries = its.record(unit, facts, when(at, by))
        for entry in entries:
            _say(unit, entry, f"what it changes: usbwatch check {typed(unit.label)}" if entry is entries[-1] else "")
        _tell_dangers(facts, profile)
    return exits.WELL


def _tell_of_second_tries(facts: Sequence[Answered], told: Story) -> None:
    """A line for each check that failed before in the same state of the unit: it counts as tried twice."""
    from usbwatch.casebook import looks, steps_since
    from usbwatch.cli.screen import say
    from usbwatch.show import safe

    seen = looks(told)
    before = seen[-1].answers if seen and not steps_since(told) else ()
    no = {answer.check for answer in before if not answer.yes}
    for fact in facts:
        if fact.check in no and not fact.yes:
            say(f"usbwatch: {safe(fact.check)} was answered with no before: that counts as tried twice")


def _tell_dangers(facts: Sequence[Answered], profile: Profile) -> None:
    from usbwatch.cli.screen import say
    from usbwatch.show import safe

    no = {fact.check for fact in facts if not fact.yes}
    for check in profile.checks:
        if check.stop and check.id in no:
            say(f"usbwatch: STOP. {safe(check.stop)}")


@click.command(name="note", epilog=example('usbwatch unit note LB-0001 "smells of coffee" --minutes 5'))
@unit_argument
@click.argument("words", nargs=-1, required=True, metavar="TEXT...")
@click.option("--cost", type=MONEY, help="What it cost.")
@click.option("--minutes", type=_MINUTES, help="Bench time.")
@time_options
@book_option
def note_text(
    label: str, words: tuple[str, ...], *, cost: int | None, minutes: int | None, at: str, by: str, book: str | None
) -> int:
    """Record anything else, in words."""
    from usbwatch.model.history import Noted

    text = " ".join(words)
    if not text.strip():
        raise click.BadParameter("there is nothing in it.", param_hint="'TEXT'")
    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        (entry,) = its.record(unit, [Noted(text=text, cost=cost, minutes=minutes)], when(at, by))
        _say(unit, entry)
    return exits.WELL


@click.command(name="attach", epilog=example("usbwatch unit attach LB-0001 board.jpg"))
@unit_argument
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(readable=False))
@time_options
@book_option
def attach_files(label: str, files: tuple[str, ...], *, at: str, by: str, book: str | None) -> int:
    """Keep photos or other files with a unit. The casebook holds their content, not their place."""
    from usbwatch.cli.unit.papers import attached

    pairs = [attached(path) for path in files]
    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        entries = its.record(unit, [fact for fact, _ in pairs], when(at, by), [paper for _, paper in pairs])
        for entry in entries:
            _say(unit, entry)
    return exits.WELL


def _say(unit: Unit, entry: Entry, more: str = "") -> None:
    from usbwatch.cli.screen import say

    say(f"usbwatch: recorded as entry {entry.number} of unit {unit.label}" + (f"; {more}" if more else ""))
