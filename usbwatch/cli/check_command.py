"""``usbwatch check``: compare a unit with its profile and say where the fault lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.answers import answers, each, parsed_own_answer, refused_step
from usbwatch.cli.options import (
    book_option,
    example,
    json_option,
    log_option,
    profile_names,
    root_option,
    through_option,
)

if TYPE_CHECKING:
    from usbwatch.cli.unit.checking import WeighedUnit
    from usbwatch.model import Answer, Capture, Experience, Profile
    from usbwatch.model.history import Unit
    from usbwatch.show import Checked, Line
    from usbwatch.show.json_values import Json

__all__ = ["check", "checked"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Request:
    """What was asked for on the command line."""

    root: str | None
    log: str | None
    through: str | None
    profile: str | None
    given: tuple[tuple[str, bool], ...]
    book: str | None
    as_json: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Result:
    """What one argument came to."""

    checked: Checked
    unit: Unit | None = None
    """Where the argument named a unit of the casebook."""
    weighed: WeighedUnit | None = None
    """What its history came to."""


@click.command(epilog=example("usbwatch check", "usbwatch check before.json --answer runs-on-battery=yes"))
@click.argument("captures", nargs=-1, metavar="[CAPTURE|UNIT]...", type=click.Path(allow_dash=True, readable=False))
@root_option
@log_option
@through_option
@click.option("--profile", metavar="NAME|FILE", shell_complete=profile_names, help="Compare with this profile.")
@click.option(
    "--answer",
    "given",
    multiple=True,
    callback=each(parsed_own_answer),
    metavar="CHECK=yes|no",
    help="What a hand check showed; repeatable.",
)
@book_option
@click.option("--did", multiple=True, hidden=True, expose_value=False, callback=each(refused_step))
@json_option
def check(
    captures: tuple[str, ...],
    root: str | None,
    log: str | None,
    *,
    through: str | None,
    profile: str | None,
    given: tuple[tuple[str, bool], ...],
    book: str | None,
    as_json: bool,
) -> int:
    """Compare a unit with its profile: what is wrong, and where.

    Without CAPTURE this machine is captured first, or the tree given by --root.
    The profile is chosen by what firmware calls the unit. Several captures are
    checked one after another; the exit code is that of the worst.

    A UNIT is one of the casebook, by its label: all that was seen of it and done
    to it is weighed, and it is compared with its own baseline first.
    """
    if captures and (root or log or through):
        raise click.UsageError(
            "--root, --log and --through are for capturing now; leave them out when a CAPTURE is given."
        )
    request = _Request(root=root, log=log, through=through, profile=profile, given=given, book=book, as_json=as_json)
    return _check_several(captures, request) if len(captures) > 1 else _check_one(captures, request)


def _check_one(captures: tuple[str, ...], request: _Request) -> int:
    from usbwatch.cli.screen import write
    from usbwatch.show import json_text

    result = _result(captures[0] if captures else None, request)
    if request.as_json:
        write(json_text(_document(result)))
    else:
        _show(result)
    return _code(result)


def _document(result: _Result) -> dict[str, Json]:
    from usbwatch.show import check_document
    from usbwatch.show.since_view import since_value
    from usbwatch.show.unit_document import unit_value

    document = check_document(result.checked)
    if result.unit is None or result.weighed is None:
        return document
    since = result.weighed.since
    return {
        **document,
        "casebook_unit": unit_value(result.unit),
        "since_baseline": since_value(since) if since is not None else None,
    }


def _check_several(captures: tuple[str, ...], request: _Request) -> int:
    from usbwatch.cli.screen import show, write
    from usbwatch.show import json_text
    from usbwatch.show.check_view import which_capture_view
    from usbwatch.show.json_values import plain_value

    codes: list[int] = []
    documents: list[Json] = []
    for number, path in enumerate(captures, 1):
        result, problem = _result_or_problem(path, request)
        codes.append(_code(result) if result else exits.BAD_INPUT)
        if request.as_json:
            named: dict[str, Json] = {"path": plain_value(path)}
            documents.append(named | (_document(result) if result else {"problem": plain_value(problem)}))
        elif result:
            show(which_capture_view(path, number, len(captures)))
            _show(result)
    if request.as_json:
        write(json_text({"format": "usbwatch-check-list", "schema": 1, "checks": documents}))
    return exits.worst(codes)


def _result_or_problem(path: str, request: _Request) -> tuple[_Result | None, str]:
    """One bad file does not end the run: its sentence is said, and the next capture is checked."""
    from usbwatch.cli.screen import say
    from usbwatch.errors import UsbwatchError

    try:
        return _result(path, request), ""
    except UsbwatchError as error:
        say(f"usbwatch: {error}")
        return None, str(error)


def _result(path: str | None, request: _Request) -> _Result:
    from usbwatch.cli.taking import taken
    from usbwatch.cli.unit.checking import named_unit, weighed_unit

    if path is None:
        return _of_capture(taken(request.root, request.log, request.through), path, request)
    with named_unit(path, request.book) as found:
        if found is not None:
            _refuse_answers(path, request)
            weighed = weighed_unit(*found, request.profile)
            return _Result(checked=weighed.localised.checked, unit=found[1], weighed=weighed)
    return _of_capture(None, path, request)


def _refuse_answers(label: str, request: _Request) -> None:
    if request.given:
        raise click.UsageError(f"what was established of a unit is recorded first: usbwatch unit answer {label} …")


def _of_capture(capture: Capture | None, path: str | None, request: _Request) -> _Result:
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.taking import loaded
    from usbwatch.cli.unit.experience import shop_experience

    if capture is None:
        assert path is not None
        capture = loaded(path)
    profile = chosen(capture, request.profile, may_ask=not request.as_json and path != "-")
    result = checked(
        capture,
        profile,
        answers(request.given, profile),
        insisted=request.profile is not None,
        experience=shop_experience(profile, request.book),
    )
    return _Result(checked=result)


def checked(
    capture: Capture,
    profile: Profile,
    established: Sequence[Answer] = (),
    *,
    insisted: bool = False,
    experience: Experience | None = None,
) -> Checked:
    """Compare, localise and plan: all that one check comes to.

    ``insisted``: somebody named the profile. ``experience`` is what the shop's closed cases come to for it.
    """
    from usbwatch.compare import findings
    from usbwatch.localise import believe, suspects_of
    from usbwatch.model import Look
    from usbwatch.plan import plan_and_repair
    from usbwatch.show import Checked

    found = findings(capture, profile, tuple(established), insisted=insisted)
    beliefs = believe(profile, (Look(findings=found),), experience=experience)
    told, repair = plan_and_repair(beliefs, found)
    return Checked(
        capture=capture,
        profile=profile,
        findings=found,
        suspects=suspects_of(beliefs),
        plan=told,
        repair=repair,
    )


def _show(result: _Result) -> None:
    from usbwatch.cli.screen import page_width, show
    from usbwatch.cli.taking import local_time
    from usbwatch.show import check_view

    if result.unit is not None and result.weighed is not None:
        show(_unit_lines(result.unit, result.weighed, page_width()))
    show(check_view(result.checked, page_width(), local_time(result.checked.capture.taken_at)))


def _unit_lines(unit: Unit, its: WeighedUnit, width: int) -> list[Line]:
    """What goes before the page about a unit's last capture: the unit, its baseline, and what was done since."""
    from usbwatch.cli.unit.checking import pending_lines, since_lines
    from usbwatch.show.lines import BLANK
    from usbwatch.show.unit_view import unit_head

    return [*unit_head(unit, its.told, width), *since_lines(its), *pending_lines(its.told, its.profile), BLANK]


def _code(result: _Result) -> int:
    from usbwatch.show import outcome

    return exits.of_outcome(outcome(result.checked.findings).value)
