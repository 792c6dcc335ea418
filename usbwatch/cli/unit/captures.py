"""Captures on their way into the book: in the order of time, of this unit, and with what was made of them."""

from __future__ import annotations

import itertools
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits

if TYPE_CHECKING:
    from usbwatch.capture.saved import Saved
    from usbwatch.casebook import Book, Paper, Story, When
    from usbwatch.cli.unit.checking import WeighedUnit
    from usbwatch.model.history import Amended, Captured, Entry, PartSerial, Recorded, Unit

__all__ = ["Prepared", "captured", "loaded_in_order", "prepared", "refuse_mixed", "saved_now", "tell"]


def loaded_in_order(paths: Sequence[str]) -> list[Saved]:
    """The captures in these files (``-``: standard input), the earliest first. Raises ``BadCapture``."""
    if list(paths).count("-") > 1:
        raise click.UsageError("only one CAPTURE can be standard input.")
    return sorted((_loaded(path) for path in paths), key=lambda saved: saved.capture.taken_at)


def _loaded(path: str) -> Saved:
    from usbwatch.capture.saved import LARGEST_FILE, load_saved, parse_saved

    if path != "-":
        return load_saved(path)
    return parse_saved(sys.stdin.buffer.read(LARGEST_FILE + 1), "on standard input")


def saved_now(root: str | None, log: str | None, through: str | None) -> Saved:
    """A capture of this machine, or of a copied tree, taken now."""
    from usbwatch.capture.saved import saved_of
    from usbwatch.cli.taking import taken

    return saved_of(taken(root, log, through))


def captured(
    book: Book,
    unit: Unit,
    saved: Sequence[Saved],
    when: When,
    *,
    anyway: bool = False,
    before: Sequence[Recorded] = (),
    after: Sequence[Recorded] = (),
) -> int:
    """Record captures of a unit, and say what its history comes to with them; the exit code of that.

    ``before`` and ``after`` are what was done and established around them, recorded with them or not at all.
    Raises ``Refused`` for a capture of another unit, unless ``anyway``.
    """
    if not anyway:
        _refuse_other_units(book, saved, book.draft(unit, before, when))
    ready = prepared(book, saved, lambda facts: book.draft(unit, [*before, *facts, *after], when))
    known = _model_known(book.story(unit), saved)
    return tell(unit.label, ready, book.record(unit, [*before, *ready.facts, *after, *known], when, ready.papers))


def _model_known(told: Story, saved: Sequence[Saved]) -> list[Amended]:
    """That a unit of which nobody knew the model is of the one that its captures fit."""
    from usbwatch.cli.choosing import fitting_or_none
    from usbwatch.model.history import Amended, Opened

    fitting = None if told.model else fitting_or_none(saved[-1].capture)
    if fitting is None:
        return []
    entry = next(each.entry for each in told.standings if isinstance(each.entry.fact, Opened))
    opened = replace(told.opened, model=fitting.id)
    return [Amended(entry=entry.id, reason="the model is known from its capture", instead=opened)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """Captures that can be recorded."""

    facts: tuple[Captured, ...]
    papers: tuple[Paper, ...]
    result: WeighedUnit | None
    """What the unit's history comes to with them; None where no profile is known."""


_WITH_NEXT = "weighed together with the capture after it"


def prepared(book: Book, saved: Sequence[Saved], draft: Callable[[Sequence[Captured]], Story]) -> Prepared:
    """The captures as facts and documents, with what is made of them; ``draft`` adds facts to the unit's history."""
    from usbwatch.casebook import paper_of
    from usbwatch.model.history import Captured

    facts = [Captured(capture=one.digest, taken_at=one.capture.taken_at, judged=_WITH_NEXT) for one in saved]
    facts[-1] = replace(facts[-1], judged="")
    result = _result(draft(facts), book, {one.digest: one for one in saved})
    if result is not None:
        told = [_watched(one, result) for one in saved[:-1]]
        before = [replace(fact, judged=f"{fact.judged}{said}") for fact, said in zip(facts[:-1], told, strict=True)]
        facts = [*before, replace(facts[-1], judged=_judged(result))]
    papers = tuple(paper_of(one, _serials(one, result)) for one in saved)
    return Prepared(facts=tuple(facts), papers=papers, result=result)


def tell(label: str, ready: Prepared, entries: Sequence[Entry]) -> int:
    """Say what was recorded, and what it comes to; the exit code of that."""
    from usbwatch.cli.screen import page_width, say, show
    from usbwatch.cli.unit.checking import noted_lines, since_lines
    from usbwatch.model.history import Captured
    from usbwatch.show import outcome
    from usbwatch.show.check_view import verdict_lines
    from usbwatch.show.recording import check_command
    from usbwatch.show.words import counted

    numbers = [str(entry.number) for entry in entries if isinstance(entry.fact, Captured)]
    say(f"usbwatch: recorded {counted(len(numbers), 'capture')} of unit {label}, entry {', '.join(numbers)}")
    if ready.result is None:
        return exits.WELL
    checked = ready.result.localised.checked
    show([*since_lines(ready.result), *noted_lines(ready.result), *verdict_lines(checked, page_width())])
    say(f"usbwatch: all of it: {check_command(label)}")
    return exits.of_outcome(outcome(checked.findings).value)


def _result(draft: Story, book: Book, new: dict[str, Saved]) -> WeighedUnit | None:
    """What the history comes to with the new captures; None where no profile is known, which is then said."""
    from usbwatch.cli.screen import say
    from usbwatch.cli.unit.checking import weighed_told
    from usbwatch.errors import UsbwatchError

    try:
        return weighed_told(draft, book, new=new)
    except UsbwatchError as error:
        say(f"usbwatch: {error}")
        return None


def _serials(saved: Saved, result: WeighedUnit | None) -> tuple[PartSerial, ...]:
    """The serial numbers of the unit's parts in a capture, by which it is found; none where no profile is known."""
    from usbwatch.compare import findings, serials
    from usbwatch.model.history import PartSerial

    if result is None:
        return ()
    found = findings(saved.capture, result.profile)
    return tuple(PartSerial(of=one.of, serial=one.serial) for one in serials(saved.capture, found))


def _watched(saved: Saved, its: WeighedUnit) -> str:
    """What watching came to in a capture that is weighed with a later one, after a semicolon."""
    from usbwatch.compare import findings
    from usbwatch.show.watched_view import watched_in_short

    if not saved.capture.watches:
        return ""
    return f"; {watched_in_short(saved.capture, findings(saved.capture, its.profile), its.profile)}"


def _judged(its: WeighedUnit) -> str:
    """The verdict, the likeliest cause, what a watch came to, and what is not as at the baseline, as one sentence."""
    from usbwatch.show import sentence
    from usbwatch.show.since_view import changed_since
    from usbwatch.show.suspects_view import likeliest
    from usbwatch.show.watched_view import watched_in_short

    checked = its.localised.checked
    suspect = likeliest(checked)
    changed = changed_since(its.since, its.profile) if its.since is not None else ""
    watched = watched_in_short(checked.capture, checked.findings, its.profile)
    told = [
        sentence(checked.findings),
        *([f"{suspect[:1].lower()}{suspect[1:]}"] if suspect else []),
        *([watched] if watched else []),
        *([f"not as at the baseline: {changed}"] if changed else []),
    ]
    return "; ".join(told)


def _refuse_other_units(book: Book, saved: Sequence[Saved], told: Story) -> None:
    """Raise ``Refused`` where a capture is of another model than the unit's last one, or has another serial number.

    A board that was put in may bring its own serial number, never another model.
    """
    from usbwatch.cli.one_unit import MODEL, MODEL_AND_SERIAL, difference
    from usbwatch.errors import Refused
    from usbwatch.model.history import Captured

    fields = MODEL if _board_put_in(told) else MODEL_AND_SERIAL
    taken = [each.fact.capture for each in told.standings if isinstance(each.fact, Captured)]
    before = book.saved_capture(taken[-1]).capture.unit if taken else None
    for one in saved:
        if (
            before is not None
            and before.product_name
            and not (one.capture.unit.sys_vendor or one.capture.unit.product_name)
        ):
            raise Refused(
                f"the capture does not say what it is of, and the unit calls itself {before.product_name}",
                "name its capture file, or run it on the unit itself; if that was done, add --anyway",
            )
        differing = difference(before, one.capture.unit, fields) if before is not None else ""
        if differing:
            raise Refused(
                f"the capture is of another unit than the one before ({differing})",
                "name the right unit, or, if a board was put in that brought another serial, record it with --anyway",
            )
        before = one.capture.unit


def refuse_mixed(saved: Sequence[Saved]) -> None:
    """Raise ``Refused`` where captures that a unit is opened with are of several units."""
    from usbwatch.cli.one_unit import difference
    from usbwatch.errors import Refused

    for before, after in itertools.pairwise(saved):
        differing = difference(before.capture.unit, after.capture.unit)
        if differing:
            raise Refused(f"the captures are not of one unit ({differing})", "open a unit for each")


def _board_put_in(told: Story) -> bool:
    """Whether the board that carries the unit's serial number may be another one than at the last capture."""
    from usbwatch.casebook import looks, steps_since
    from usbwatch.cli.unit.recorded import known_profile
    from usbwatch.model import StepKind
    from usbwatch.show.harness import stubs

    profile = known_profile(told)
    boards = {stub.part.id for stub in stubs(profile) if stub.part and stub.toward is None} if profile else None
    steps = [*(step for look in looks(told) for step in look.steps), *steps_since(told)]
    puts_in = (StepKind.SWAP, StepKind.FIT, StepKind.BACK)
    return any(step.kind in puts_in and (boards is None or step.of in boards) for step in steps)
