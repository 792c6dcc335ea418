"""``usbwatch check``: compare a unit with its profile and say where the fault lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example, json_option, log_option, profile_names, root_option, through_option

if TYPE_CHECKING:
    from usbwatch.model import Answer, Capture, Profile
    from usbwatch.show import Checked
    from usbwatch.show.as_json import Json

__all__ = ["check", "checked"]


def _parsed(
    context: click.Context, parameter: click.Parameter, values: tuple[str, ...]
) -> tuple[tuple[str, bool], ...]:
    """Each ``CHECK=yes`` or ``CHECK=no`` as a pair."""
    pairs = []
    for value in values:
        check, _, word = value.partition("=")
        if not check or word.lower() not in ("yes", "no"):
            problem = f"'{value}' is not of the form CHECK=yes or CHECK=no."
            raise click.BadParameter(problem, context, parameter)
        pairs.append((check, word.lower() == "yes"))
    return tuple(pairs)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Request:
    """What was asked for on the command line."""

    root: str | None
    log: str | None
    through: str | None
    profile: str | None
    answers: tuple[tuple[str, bool], ...]
    as_json: bool


@click.command(epilog=example("usbwatch check", "usbwatch check before.json --answer runs-on-battery=yes"))
@click.argument("captures", nargs=-1, metavar="[CAPTURE]...", type=click.Path(allow_dash=True, readable=False))
@root_option
@log_option
@through_option
@click.option("--profile", metavar="NAME|FILE", shell_complete=profile_names, help="Compare with this profile.")
@click.option(
    "--answer",
    "answers",
    multiple=True,
    callback=_parsed,
    metavar="CHECK=yes|no",
    help="What a hand check showed; repeatable.",
)
@json_option
def check(
    captures: tuple[str, ...],
    root: str | None,
    log: str | None,
    *,
    through: str | None,
    profile: str | None,
    answers: tuple[tuple[str, bool], ...],
    as_json: bool,
) -> int:
    """Compare a unit with its profile: what is wrong, and where.

    Without CAPTURE this machine is captured first, or the tree given by --root.
    The profile is chosen by what firmware calls the unit. Several captures are
    checked one after another; the exit code is that of the worst.
    """
    if captures and (root or log or through):
        raise click.UsageError(
            "--root, --log and --through are for capturing now; leave them out when a CAPTURE is given."
        )
    request = _Request(root=root, log=log, through=through, profile=profile, answers=answers, as_json=as_json)
    return _check_several(captures, request) if len(captures) > 1 else _check_one(captures, request)


def _check_one(captures: tuple[str, ...], request: _Request) -> int:
    from usbwatch.cli.screen import write
    from usbwatch.show import check_document, json_text

    result = _result(captures[0] if captures else None, request)
    if request.as_json:
        write(json_text(check_document(result)))
    else:
        _show(result)
    return _code(result)


def _check_several(captures: tuple[str, ...], request: _Request) -> int:
    from usbwatch.cli.screen import show, write
    from usbwatch.show import check_document, json_text
    from usbwatch.show.as_json import plain_value
    from usbwatch.show.check_view import which_capture_view

    codes: list[int] = []
    documents: list[Json] = []
    for number, path in enumerate(captures, 1):
        result, problem = _result_or_problem(path, request)
        codes.append(_code(result) if result else exits.BAD_INPUT)
        if request.as_json:
            named: dict[str, Json] = {"path": plain_value(path)}
            documents.append(named | (check_document(result) if result else {"problem": plain_value(problem)}))
        elif result:
            show(which_capture_view(path, number, len(captures)))
            _show(result)
    if request.as_json:
        write(json_text({"format": "usbwatch-check-list", "schema": 1, "checks": documents}))
    return exits.worst(codes)


def _result_or_problem(path: str, request: _Request) -> tuple[Checked | None, str]:
    """One bad file does not end the run: its sentence is said, and the next capture is checked."""
    from usbwatch.cli.screen import say
    from usbwatch.errors import UsbwatchError

    try:
        return _result(path, request), ""
    except UsbwatchError as error:
        say(f"usbwatch: {error}")
        return None, str(error)


def _result(path: str | None, request: _Request) -> Checked:
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.taking import loaded, taken

    capture = loaded(path) if path is not None else taken(request.root, request.log, request.through)
    profile = chosen(capture, request.profile, may_ask=not request.as_json and path != "-")
    return checked(capture, profile, _answers(request.answers, profile))


def checked(capture: Capture, profile: Profile, answers: Sequence[Answer] = ()) -> Checked:
    """Compare, localise and plan: all that one check comes to."""
    from usbwatch.compare import findings
    from usbwatch.localise import suspects
    from usbwatch.plan import stops, tell_apart
    from usbwatch.show import Checked

    found = findings(capture, profile, tuple(answers))
    return Checked(
        capture=capture,
        profile=profile,
        findings=found,
        suspects=suspects(found, profile),
        tell_apart=tell_apart(found, profile),
        stops=stops(found, profile),
    )


def _answers(given: tuple[tuple[str, bool], ...], profile: Profile) -> tuple[Answer, ...]:
    """The answers, once every one is known to be about a hand check of the profile, and said once."""
    from usbwatch.model import Answer

    known = [one.id for one in profile.checks]
    for name, _ in given:
        if name not in known:
            raise click.BadParameter(_no_such_check(name, known, profile), param_hint="'--answer'")
        if len({yes for other, yes in given if other == name}) > 1:
            raise click.BadParameter(f"'{name}' is answered with both yes and no.", param_hint="'--answer'")
    return tuple(Answer(check=name, yes=yes) for name, yes in dict(given).items())


def _no_such_check(name: str, known: list[str], profile: Profile) -> str:
    import difflib

    if not known:
        return f"profile {profile.id} has no hand checks, so there is no '{name}'."
    near = difflib.get_close_matches(name, known, n=3, cutoff=0.5)
    advice = f"Did you mean {' or '.join(near)}?" if near else f"It has: {', '.join(known)}."
    return f"profile {profile.id} has no hand check '{name}'. {advice}"


def _show(result: Checked) -> None:
    from usbwatch.cli.screen import page_width, show
    from usbwatch.cli.taking import local_time
    from usbwatch.show import check_view

    show(check_view(result, page_width(), local_time(result.capture.taken_at)))


def _code(result: Checked) -> int:
    from usbwatch.show import outcome

    return exits.of_outcome(outcome(result.findings).value)
