"""``unit open`` and ``unit reopen``: what is told and seen of a unit when it comes in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example, profile_names
from usbwatch.cli.unit.options import MONEY, opened, time_options, unit_argument, when, yes_or_no
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.capture.saved import Saved
    from usbwatch.casebook import Book, When
    from usbwatch.cli.unit.captures import Prepared
    from usbwatch.model.history import Intake, Opened

__all__ = ["intake_options", "known_refused", "model_of", "open_unit", "reopen_unit"]

_Command = TypeVar("_Command", bound=Callable[..., Any])


def intake_options(command: _Command) -> _Command:
    """All that is told of a unit when it comes in, each as an argument."""
    told = {
        "--liquid": "Did liquid get into it?",
        "--dropped": "Was it dropped?",
        "--opened-before": "Did somebody have it open before?",
    }
    for name, help_ in reversed(told.items()):
        command = click.option(name, callback=yes_or_no, metavar="yes|no", help=help_)(command)
    command = click.option("--paid", type=MONEY, help="What was paid for it.")(command)
    command = click.option("--came-with", multiple=True, metavar="TEXT", help="Adapter, box, …; repeatable.")(command)
    return click.option("--claim", multiple=True, metavar="TEXT", help="A fault that is claimed; repeatable.")(command)


def _said(texts: Sequence[str]) -> tuple[str, ...]:
    """What says anything at all."""
    return tuple(text.strip() for text in texts if text.strip())


def _intake(told: dict[str, Any]) -> Intake:
    from usbwatch.model.history import Intake

    return Intake(
        claims=_said(told["claim"]),
        came_with=_said(told["came_with"]),
        paid=told["paid"],
        liquid=told["liquid"],
        dropped=told["dropped"],
        opened_before=told["opened_before"],
    )


@click.command(
    name="open",
    epilog=example(
        'usbwatch unit open LB-0001 first.json --claim "keyboard dead" --paid 60',
        "usbwatch unit open LB-0002 --model fernhill-larch-13 --liquid yes",
    ),
)
@click.argument("label", metavar="LABEL")
@click.argument("captures", nargs=-1, metavar="[CAPTURE]...", type=click.Path(allow_dash=True, readable=False))
@click.option("--model", metavar="NAME", shell_complete=profile_names, help="Id of the model's profile.")
@intake_options
@click.option("--attach", multiple=True, metavar="FILE", help="A photo or another file; repeatable.")
@click.option("--anyway", is_flag=True, help="Open it although its serial number is in the casebook.")
@click.option("--note", default="", metavar="TEXT", help="Anything else.")
@time_options
@book_option
def open_unit(label: str, captures: tuple[str, ...], **told: Any) -> int:  # noqa: ANN401 - click's own values
    """Take a unit in, under the shop's own number for it.

    The model is known from the first CAPTURE where a profile fits it. Captures
    and files are kept in the casebook itself.
    """
    from usbwatch.casebook import Paper
    from usbwatch.cli.screen import say
    from usbwatch.cli.unit.captures import loaded_in_order, refuse_mixed, tell
    from usbwatch.cli.unit.papers import attached
    from usbwatch.model.history import Noted, Opened, Recorded

    saved = loaded_in_order(captures)
    refuse_mixed(saved)
    model = model_of(told["model"], saved)
    opening = Opened(label=label, model=model, intake=_intake(told))
    more: list[Recorded] = []
    papers: list[Paper] = []
    for path in told["attach"]:
        fact, paper = attached(path)
        more.append(fact)
        papers.append(paper)
    if told["note"].strip():
        more.append(Noted(text=told["note"]))
    moment = when(told["at"], told["by"])
    with opened(told["book"]) as book:
        if not told["anyway"]:
            known_refused(book, saved)
        ready = _with_captures(book, opening, saved, moment) if saved else None
        facts = (*(ready.facts if ready else ()), *more)
        unit, entries = book.open_unit(opening, moment, facts, (*(ready.papers if ready else ()), *papers))
        say(f"usbwatch: unit {unit.label} is open, in {book.name}")
    return tell(unit.label, ready, entries) if ready else exits.WELL


def known_refused(book: Book, saved: Sequence[Saved]) -> None:
    """Raise ``Refused`` where the casebook has a unit with the same serial number: it may have come back."""
    from usbwatch.compare.serials import is_serial
    from usbwatch.errors import Refused

    serials = dict.fromkeys(one.capture.unit.product_serial.strip() for one in saved)
    for serial in filter(is_serial, serials):
        for unit in book.units_with(serial):
            was = f"closed, {unit.ending.value}" if unit.ending else "on the bench"
            verb = "reopen" if unit.ending else "capture"
            raise Refused(
                f"the serial number {serial} is that of unit {unit.label} ({was})",
                f"if it is that one: usbwatch unit {verb} {typed(unit.label)}; if not, open it with --anyway",
            )


def _with_captures(book: Book, opening: Opened, saved: Sequence[Saved], moment: When) -> Prepared:
    from usbwatch.cli.unit.captures import prepared

    return prepared(book, saved, lambda facts: book.draft_of_new(opening, facts, moment))


def model_of(named: str | None, saved: Sequence[Saved]) -> str:
    """The id of the profile that was named, or that the first capture fits; "" where none does."""
    from usbwatch import profile as profiles
    from usbwatch.cli.choosing import fitting_or_none

    if named is not None:
        return profiles.find(named).id
    fitting = fitting_or_none(saved[0].capture) if saved else None
    return fitting.id if fitting else ""


@click.command(name="reopen", epilog=example('usbwatch unit reopen LB-0001 --claim "battery lasts an hour"'))
@unit_argument
@intake_options
@time_options
@book_option
def reopen_unit(label: str, **told: Any) -> int:  # noqa: ANN401 - click's own values
    """Take a unit in again that was closed: it came back.

    What is seen from now on is weighed by itself. A check compares it first
    with the unit's own baseline.
    """
    from usbwatch.cli.screen import say
    from usbwatch.model.history import Reopened

    with opened(told["book"], must_exist=True) as book:
        unit = book.unit(label)
        book.record(unit, [Reopened(intake=_intake(told))], when(told["at"], told["by"]))
        say(f"usbwatch: unit {unit.label} is on the bench again")
    return exits.WELL
