"""``usbwatch localise``: the suspects in full, from all that was seen of a unit and done to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.answers import answers, did_you_mean, each, id_of, parsed_numbered_answer
from usbwatch.cli.options import (
    book_option,
    example,
    json_option,
    log_option,
    profile_names,
    root_option,
    through_option,
)
from usbwatch.cli.steps import parsed_did, part_at_hand, refuse_back_too_soon, step

if TYPE_CHECKING:
    from usbwatch.errors import BadSupposition
    from usbwatch.model import Capture, Experience, Look, Profile
    from usbwatch.show import Localised, Seen, Supposed

__all__ = ["localise"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Request:
    """What was asked for on the command line."""

    paths: tuple[str, ...]
    root: str | None
    log: str | None
    through: str | None
    profile: str | None
    did: tuple[tuple[int, str, str], ...]
    given: tuple[tuple[int, str, bool], ...]
    suppositions: tuple[str, ...]
    at_hand: tuple[str, ...]
    full: bool
    book: str | None
    as_json: bool

    @property
    def count(self) -> int:
        """Captures: those that were named, or the one that is taken now."""
        return max(1, len(self.paths))


@click.command(
    epilog=example(
        "usbwatch localise",
        "usbwatch localise first.json second.json --did swap:top-case",
        'usbwatch localise first.json --suppose "top-case-flex is good"',
    )
)
@click.argument("paths", nargs=-1, metavar="[CAPTURE]...|UNIT", type=click.Path(allow_dash=True, readable=False))
@root_option
@log_option
@through_option
@click.option("--profile", metavar="NAME|FILE", shell_complete=profile_names, help="Compare with this profile.")
@click.option(
    "--did",
    multiple=True,
    callback=each(parsed_did),
    metavar="[N:]KIND:PART",
    help="A step before the last (or Nth) capture: reseat, swap, fit, back, move, reload, flex, or drain alone.",
)
@click.option(
    "--answer",
    "given",
    multiple=True,
    callback=each(parsed_numbered_answer),
    metavar="[N:]CHECK=yes|no",
    help="What a hand check showed with the last (or Nth) capture; repeatable, twice if tried twice.",
)
@click.option(
    "--suppose",
    "suppositions",
    multiple=True,
    metavar="TEXT",
    help='Show what would change: "PART is good", "PART is bad", "DEVICE working", "CHECK no"; repeatable.',
)
@click.option(
    "--at-hand",
    multiple=True,
    metavar="PART",
    help="A part known to be good lies ready, or a whole unit of the model (unit); repeatable.",
)
@click.option("--full", is_flag=True, help="Show every way to fail, the sets of faults, and every step.")
@book_option
@json_option
def localise(
    paths: tuple[str, ...],
    root: str | None,
    log: str | None,
    *,
    through: str | None,
    profile: str | None,
    did: tuple[tuple[int, str, str], ...],
    given: tuple[tuple[int, str, bool], ...],
    suppositions: tuple[str, ...],
    at_hand: tuple[str, ...],
    full: bool,
    book: str | None,
    as_json: bool,
) -> int:
    """Say which part has failed, from all that was seen and done.

    Several CAPTUREs are of one unit, oldest first, with what was done between
    them told by --did. Without CAPTURE this machine is captured first, or the
    tree given by --root. A UNIT of the casebook stands for all of its history.

    A step is reseat, swap (a part known to be good, on trial), fit (a new one),
    back (the first one again), move (to another connector that takes it),
    reload (driver or setting of a device), flex (moved, warmed or cooled during
    the capture) or drain (left without any power).
    """
    if paths and (root or log or through):
        raise click.UsageError(
            "--root, --log and --through are for capturing now; leave them out when a CAPTURE is given."
        )
    request = _Request(
        paths=paths,
        root=root,
        log=log,
        through=through,
        profile=profile,
        did=did,
        given=given,
        suppositions=suppositions,
        at_hand=at_hand,
        full=full,
        book=book,
        as_json=as_json,
    )
    return _localised(request)


def _localised(request: _Request) -> int:
    from usbwatch.cli.screen import page_width, show, write
    from usbwatch.show import json_text, localise_document, localise_view, outcome

    result = _of_unit(request)
    if result is None:
        _refuse_numbers_beyond(request)
        result = _result(request)
    if request.as_json:
        write(json_text(localise_document(result)))
    else:
        show(localise_view(result, page_width(), full=request.full))
    return exits.of_outcome(outcome(result.checked.findings).value)


def _refuse_numbers_beyond(request: _Request) -> None:
    """A number says which capture is meant, counted from 1."""
    told = [("--did", one[0]) for one in request.did] + [("--answer", one[0]) for one in request.given]
    for option, number in told:
        if number > request.count:
            there = f"there are only {request.count}" if request.count > 1 else "there is only one"
            raise click.BadParameter(f"no capture {number}: {there}.", param_hint=f"'{option}'")


def _of_unit(request: _Request) -> Localised | None:
    """What a unit of the casebook comes to; None where none is named."""
    from usbwatch.cli.unit.checking import named_unit, weighed_unit

    if len(request.paths) != 1:
        return None
    with named_unit(request.paths[0], request.book) as found:
        if found is None:
            return None
        if request.did or request.given:
            raise click.UsageError("what was done and established is recorded first: usbwatch unit step, answer.")
        its = weighed_unit(*found, request.profile, request.at_hand)
        return replace(its.localised, supposed=_supposed(request, its.profile, its.looks, its.experience))


def _result(request: _Request) -> Localised:
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.one_unit import refuse_other_units, tell_of_order
    from usbwatch.cli.unit.experience import shop_experience
    from usbwatch.cli.weighing import weighed

    captures = _captures(request)
    profile = chosen(captures[0], request.profile, may_ask=not request.as_json and "-" not in request.paths)
    seen = _seen(captures, request, profile)
    refuse_back_too_soon([step for one in seen for step in one.steps])
    refuse_other_units(seen)
    tell_of_order(seen)
    at_hand = tuple(part_at_hand(name, profile) for name in request.at_hand)
    experience = shop_experience(profile, request.book)
    result, looks = weighed(seen, profile, at_hand, insisted=request.profile is not None, experience=experience)
    return replace(result, supposed=_supposed(request, profile, looks, experience))


def _captures(request: _Request) -> list[Capture]:
    from usbwatch.cli.taking import loaded, taken

    if list(request.paths).count("-") > 1:
        raise click.UsageError("only one CAPTURE can be standard input.")
    if not request.paths:
        return [taken(request.root, request.log, request.through)]
    return [loaded(path) for path in request.paths]


def _seen(captures: Sequence[Capture], request: _Request, profile: Profile) -> tuple[Seen, ...]:
    """Each capture with the steps before it and the answers that go with it."""
    from usbwatch.cli.taking import local_time
    from usbwatch.show import Seen

    last = len(captures)
    found = []
    for number, (capture, path) in enumerate(zip(captures, request.paths or ("",), strict=True), 1):
        did = [(kind, of) for before, kind, of in request.did if (before or last) == number]
        given = [(check, yes) for with_, check, yes in request.given if (with_ or last) == number]
        found.append(
            Seen(
                capture=capture,
                path=path,
                when=local_time(capture.taken_at),
                steps=tuple(step(kind, of, profile) for kind, of in did),
                answers=answers(given, profile),
            )
        )
    return tuple(found)


def _supposed(
    request: _Request, profile: Profile, looks: tuple[Look, ...], experience: Experience | None
) -> Supposed | None:
    if not request.suppositions:
        return None
    from usbwatch.errors import BadSupposition
    from usbwatch.localise import supposing, suspects_of
    from usbwatch.show import Supposed

    try:
        beliefs = supposing(
            profile, looks, [_by_id(said, profile) for said in request.suppositions], experience=experience
        )
    except BadSupposition as error:
        raise click.BadParameter(_near(error), param_hint="'--suppose'") from error
    return Supposed(
        suppositions=request.suppositions, suspects=suspects_of(beliefs), findings=beliefs.looks[-1].findings
    )


def _by_id(said: str, profile: Profile) -> str:
    """The supposition with the id of what it calls by name: "Top-case flex is good"."""
    of, _, state = said.strip().rpartition(" ")
    of = of.strip()
    about = of.removesuffix(" is").strip()
    names = {one.id: one.name for one in profile.devices}
    if state in ("good", "bad"):
        names |= {one.id: one.name for one in profile.parts}
    meant = id_of(about, names)
    return said if meant == about else f"{meant}{of[len(about) :]} {state}"


def _near(error: BadSupposition) -> str:
    """Its sentence; where it names all ids of the profile, only those that are near."""
    known = error.remedy.removeprefix("known: ")
    if known == error.remedy:
        return str(error)
    name = error.said.split()[0]
    return f'supposition "{error.said}": {error.problem}. {did_you_mean(name, known.split(", "))}'
