"""``unit amend``: what was wrong in an entry is set right by another one, and stays to be seen."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example
from usbwatch.cli.unit.options import MONEY, opened, time_options, unit_argument, when
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.casebook import Book, Paper, Standing, Story
    from usbwatch.model.history import Closed, Opened, Recorded, Reopened, StepDone, Unit

__all__ = ["amend_entry"]


def _money(value: str) -> int | None:
    return None if not value else int(MONEY.convert(value, None, None))  # type: ignore[arg-type]


def _yes(value: str) -> bool | None:
    if value not in ("yes", "no", ""):
        raise click.BadParameter(f"'{value}' is neither yes nor no.")
    return None if not value else value == "yes"


def _lines(value: str) -> tuple[str, ...]:
    return tuple(one.strip() for one in value.split(";") if one.strip())


_Parse = Callable[[str], Any]
_INTAKE: dict[str, _Parse] = {
    "claims": _lines,
    "came-with": _lines,
    "paid": _money,
    "liquid": _yes,
    "dropped": _yes,
    "opened-before": _yes,
}
_FIELDS: dict[str, dict[str, _Parse]] = {
    "open": {"label": str, "model": str, **_INTAKE},
    "reopen": _INTAKE,
    "answer": {"yes": _yes},
    "step": {"step": str, "cost": _money, "minutes": _money, "result": str, "part": str, "serial": str},
    "note": {"text": str, "cost": _money, "minutes": _money},
    "baseline": {"reason": str},
    "close": {"brought": _money, "remark": str, "ending": str, "cause": str},
}
"""What of each kind of entry can be set right, and how it is read; a list is typed with semicolons."""


@click.command(
    name="amend",
    epilog=example(
        "usbwatch unit amend LB-0001 5 --set cost=140 --reason postage",
        'usbwatch unit amend LB-0001 6 --withdraw --reason "was another unit"',
    ),
)
@unit_argument
@click.argument("number", type=click.IntRange(1), metavar="ENTRY")
@click.option("--set", "changes", multiple=True, metavar="FIELD=VALUE", help="What stands instead; repeatable.")
@click.option("--withdraw", is_flag=True, help="The entry counts no more.")
@click.option("--reason", required=True, metavar="TEXT", help="Why.")
@time_options
@book_option
def amend_entry(
    label: str,
    number: int,
    *,
    changes: tuple[str, ...],
    withdraw: bool,
    reason: str,
    at: str,
    by: str,
    book: str | None,
) -> int:
    """Set an entry right, or withdraw it. The entry itself stays, and shows with its amendments.

    What can be set: of the entry that opened the unit label, model, claims,
    came-with, paid, liquid, dropped, opened-before; of a step step (KIND:PART),
    part, serial, cost, minutes, result; of an answer yes; of a note text, cost,
    minutes; of a baseline reason; of a closing ending, cause, brought, remark.
    """
    from usbwatch.cli.screen import say
    from usbwatch.model.history import Amended

    if withdraw == bool(changes):
        raise click.UsageError("give either --set FIELD=VALUE or --withdraw.")
    if not reason.strip():
        raise click.BadParameter("say why.", param_hint="'--reason'")
    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        told = its.story(unit)
        entry = _standing(told, number, unit)
        instead, papers = (None, ()) if withdraw else _changed(entry.fact or entry.entry.fact, changes, told, its)
        amended = Amended(entry=entry.entry.id, reason=reason, instead=instead)
        (new,) = its.record(unit, [amended], when(at, by), papers)
        done = "withdrawn" if withdraw else "amended"
        say(f"usbwatch: entry {number} of unit {unit.label} is {done} by entry {new.number}, and stays to be seen")
    return exits.WELL


def _standing(told: Story, number: int, unit: Unit) -> Standing:
    from usbwatch.errors import Refused

    found = told.by_number(number)
    if found is None:
        raise Refused(
            f"unit {unit.label} has no entry {number} that can be amended",
            f"usbwatch unit show {typed(unit.label)} has the numbers; instead of an amendment amend the entry again",
        )
    return found


def _changed(fact: Recorded, changes: tuple[str, ...], told: Story, book: Book) -> tuple[Recorded, tuple[Paper, ...]]:
    """The fact with what was set, and the documents that go with it."""
    from usbwatch.casebook.entries import kind_of
    from usbwatch.model.history import Closed, Opened, Reopened, StepDone

    fields = _FIELDS.get(kind_of(fact), {})
    said = dict(_parsed(one, fields, kind_of(fact)) for one in changes)
    if isinstance(fact, (Opened, Reopened)):
        _refuse_taken(said.get("label", told.label), told, book)
        return _opening(fact, said), ()
    if isinstance(fact, StepDone):
        return _step(fact, said, told, book), ()
    if isinstance(fact, Closed):
        return _closing(fact, said, told, book)
    return replace(fact, **said), ()


def _parsed(change: str, fields: Mapping[str, _Parse], kind: str) -> tuple[str, Any]:
    name, equals, value = change.partition("=")
    if not equals or name not in fields:
        known = f"It has: {', '.join(fields)}." if fields else "It can only be withdrawn (--withdraw)."
        raise click.BadParameter(f"'{name}' cannot be set of an entry of kind {kind}. {known}", param_hint="'--set'")
    try:
        return name, fields[name](value)
    except click.BadParameter as error:
        raise click.BadParameter(f"{name}: {error.message}", param_hint="'--set'") from None


def _refuse_taken(label: str, told: Story, book: Book) -> None:
    """Raise ``Refused`` where another unit is called so."""
    from usbwatch.casebook.rules import folded
    from usbwatch.errors import NoUnit, Refused

    if folded(label) == folded(told.label):
        return
    try:
        taken = book.unit(label).label
    except NoUnit:
        return
    raise Refused(f"there is a unit {taken} in the book", "choose another label")


def _opening(fact: Opened | Reopened, said: dict[str, Any]) -> Recorded:
    from usbwatch import profile as profiles
    from usbwatch.casebook.rules import checked_label

    own = {name: said[name] for name in ("label", "model") if name in said}
    if "label" in own:
        own["label"] = checked_label(own["label"])
    if own.get("model"):
        own["model"] = profiles.find(own["model"]).id
    intake = {name.replace("-", "_"): value for name, value in said.items() if name in _INTAKE}
    return replace(fact, intake=replace(fact.intake, **intake), **own)


def _step(fact: StepDone, said: dict[str, Any], told: Story, book: Book) -> Recorded:
    from usbwatch.cli.steps import parsed_did
    from usbwatch.cli.steps import step as checked_step
    from usbwatch.cli.unit.recorded import profile_of
    from usbwatch.cli.unit.recording import GRADES
    from usbwatch.model.history import Grade

    own: dict[str, Any] = {name: said[name] for name in ("cost", "minutes", "result") if name in said}
    part = fact.part
    if "serial" in said:
        part = replace(part, serial=said["serial"])
    if "part" in said:
        if said["part"] not in (*GRADES, ""):
            raise click.BadParameter(f"part: '{said['part']}' is none of {', '.join(GRADES)}.", param_hint="'--set'")
        part = replace(part, grade=Grade(GRADES[said["part"]]) if said["part"] else None)
    if "step" in said:
        _, kind, of = parsed_did(said["step"])
        own["step"] = checked_step(kind, of, profile_of(told, book), "--set")
    return replace(fact, part=part, **own)


def _closing(fact: Closed, said: dict[str, Any], told: Story, book: Book) -> tuple[Recorded, tuple[Paper, ...]]:
    from usbwatch.cli.unit.causes import with_causes
    from usbwatch.cli.unit.leaving import ENDINGS
    from usbwatch.model.history import Ending

    own: dict[str, Any] = {name: said[name] for name in ("brought", "remark") if name in said}
    if "ending" in said:
        if said["ending"] not in ENDINGS:
            problem = f"ending: '{said['ending']}' is none of {', '.join(ENDINGS)}."
            raise click.BadParameter(problem, param_hint="'--set'")
        own["ending"] = Ending(ENDINGS[said["ending"]])
    changed = replace(fact, **own)
    return with_causes(changed, _lines(said["cause"]), told, book, "--set") if "cause" in said else (changed, ())
