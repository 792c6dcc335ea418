"""``usbwatch report``: hand over what was found, to somebody who has not seen the unit."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.answers import answers, each, parsed_answer
from usbwatch.cli.delivering import FORMS
from usbwatch.cli.options import book_option, example, profile_names

if TYPE_CHECKING:
    from usbwatch.capture.saved import Saved
    from usbwatch.casebook import Book, Story
    from usbwatch.model import Capture
    from usbwatch.show.report.source import Asked, Source
    from usbwatch.show.report.value import Report

__all__ = ["report"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Request:
    """What was asked for on the command line."""

    what: tuple[str, ...]
    profile: str | None
    given: tuple[tuple[str, bool], ...]
    compare: bool
    form: str
    output: str | None
    picture: str | None
    identify: bool
    money: bool
    force: bool
    book: str | None


@click.command(
    epilog=example(
        "usbwatch report LB-0001",
        "usbwatch report first.json -o report.html",
        "usbwatch report first.json second.json --compare --format text",
        "usbwatch report --verify report.html first.json",
    )
)
@click.argument("what", nargs=-1, metavar="[CAPTURE|UNIT]...", type=click.Path(allow_dash=True, readable=False))
@click.option("--profile", metavar="NAME|FILE", shell_complete=profile_names, help="Compare with this profile.")
@click.option(
    "--answer",
    "given",
    multiple=True,
    callback=each(parsed_answer),
    metavar="CHECK=yes|no",
    help="What a hand check showed; repeatable, twice if tried twice. Of a unit of the casebook: recorded there.",
)
@click.option("--compare", is_flag=True, help="Report what differs between two captures.")
@click.option("--format", "form", type=click.Choice(FORMS), default="html", help="html unless told otherwise.")
@click.option(
    "--output", "-o", metavar="FILE", help="Write here; - for standard output. Not given: a name by model and time."
)
@click.option("--picture", metavar="FILE", help="Also write the drawing of the unit alone, as SVG.")
@click.option("--identify", is_flag=True, help="Keep serial numbers, addresses, names and notes.")
@click.option("--money", is_flag=True, help="Tell prices and costs, too.")
@click.option("--force", is_flag=True, help="Overwrite files that are there.")
@click.option("--verify", metavar="FILE", help="Say whether this report is unaltered, and is about the CAPTURE given.")
@book_option
def report(
    what: tuple[str, ...],
    *,
    profile: str | None,
    given: tuple[tuple[str, bool], ...],
    compare: bool,
    form: str,
    output: str | None,
    picture: str | None,
    identify: bool,
    money: bool,
    force: bool,
    verify: str | None,
    book: str | None,
) -> int:
    """Report on a capture, or on a unit of the casebook.

    With the unit's history where there is one: what is wrong, why the named
    part is the cause, what was ruled out, how it was found, and how to verify it. One file without any request to
    anywhere; print it from the browser for PDF. Serial numbers, addresses and
    names are replaced unless --identify is given, and prices are told only with
    --money.
    """
    if verify is not None:
        if profile or given or compare or output or picture or identify or money or force:
            raise click.UsageError("--verify takes a report and captures alone.")
        from usbwatch.cli.verifying import verify as verify_report

        return verify_report(verify, what)
    if picture is not None and picture in (output, "-"):
        raise click.UsageError("--picture needs a file of its own.")
    request = _Request(
        what=what,
        profile=profile,
        given=given,
        compare=compare,
        form=form,
        output=output,
        picture=picture,
        identify=identify,
        money=money,
        force=force,
        book=book,
    )
    return _written(request)


def _written(request: _Request) -> int:
    from usbwatch.cli.delivering import deliver
    from usbwatch.show.verdict import Outcome

    made = _compared(request) if request.compare else _of_unit(request)
    deliver(made, request.form, request.output, request.picture, force=request.force)
    codes = {Outcome.WHOLE: exits.WELL, Outcome.WRONG: exits.WRONG, Outcome.NOT_ALL_SEEN: exits.NOT_ALL_SEEN}
    return codes[made.outcome]


def _asked(request: _Request) -> Asked:
    from usbwatch.cli.taking import local_time, now
    from usbwatch.show.report.source import Asked

    return Asked(made_at=now(), local=local_time, identify=request.identify, money=request.money)


def _of_unit(request: _Request) -> Report:
    from usbwatch.show.report.making import made
    from usbwatch.show.report.privacy import private

    if len(request.what) != 1:
        raise click.UsageError("give one capture or unit, or two captures with --compare.")
    source = _source(request.what[0], request)
    return made(source if request.identify else private(source), _asked(request))


def _source(argument: str, request: _Request) -> Source:
    from usbwatch.cli.unit.checking import named_unit, weighed_unit
    from usbwatch.show.report.source import Source

    with named_unit(argument, request.book) as found:
        if found is None:
            return _source_of_capture(argument, request)
        if request.given:
            raise click.UsageError(
                f"what was established of a unit is recorded first: usbwatch unit answer {argument} …"
            )
        from usbwatch.casebook import looks

        recorded, unit = found
        its = weighed_unit(recorded, unit, request.profile)
        digests = tuple(look.capture for look in looks(its.told))
        return Source(
            localised=its.localised,
            digests=digests,
            told=its.told,
            since=its.since,
            earlier=tuple(_earlier(its.told, recorded, digests)),
        )


def _earlier(told: Story, book: Book, digests: tuple[str, ...]) -> Iterator[tuple[str, Capture]]:
    """What was captured on earlier visits: by it, a part has the same token in each report of the unit."""
    from usbwatch.errors import UsbwatchError
    from usbwatch.show.report.privacy import captures_named, entries_of

    named = [one for entry in entries_of(told) for one in captures_named(entry.fact)]
    for digest in dict.fromkeys(named):
        if digest not in digests:
            with contextlib.suppress(UsbwatchError):  # a capture that is lost has nothing to be told
                yield digest, book.saved_capture(digest).capture


def _source_of_capture(path: str, request: _Request) -> Source:
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.taking import local_time
    from usbwatch.cli.unit.captures import loaded_in_order
    from usbwatch.cli.unit.experience import shop_experience
    from usbwatch.cli.weighing import weighed
    from usbwatch.show import Seen
    from usbwatch.show.report.source import Source

    (saved,) = loaded_in_order([path])
    profile = chosen(saved.capture, request.profile, may_ask=path != "-")
    seen = Seen(
        capture=saved.capture,
        path=path,
        when=local_time(saved.capture.taken_at),
        answers=answers(request.given, profile),
    )
    experience = shop_experience(profile, request.book)
    localised, _ = weighed([seen], profile, insisted=request.profile is not None, experience=experience)
    return Source(localised=localised, digests=(saved.digest,))


def _compared(request: _Request) -> Report:
    from usbwatch.cli.choosing import fitting_or_none
    from usbwatch.compare import changes
    from usbwatch.show.report.comparing import compared
    from usbwatch.show.report.privacy import private_comparison
    from usbwatch.show.report.source import Compared

    before, after = _both(request)
    source = Compared(
        before=before.capture,
        after=after.capture,
        digests=(before.digest, after.digest),
        changes=changes(before.capture, after.capture),
        profile=fitting_or_none(after.capture),
    )
    return compared(source if request.identify else private_comparison(source), _asked(request))


def _both(request: _Request) -> tuple[Saved, Saved]:
    """Two captures; or of a unit its baseline and its latest capture."""
    from usbwatch.capture.saved import load_saved
    from usbwatch.casebook import looks
    from usbwatch.cli.unit.checking import named_unit
    from usbwatch.errors import Refused

    if len(request.what) == 2:  # noqa: PLR2004 - two
        return load_saved(request.what[0]), load_saved(request.what[1])
    if len(request.what) == 1:
        with named_unit(request.what[0], request.book) as found:
            if found is not None:
                book, unit = found
                told = book.story(unit)
                taken = [one.capture for one in looks(told) if one.capture]
                if told.baseline is None or not taken:
                    raise Refused(f"unit {unit.label} has no baseline and a capture since", "name two captures")
                return book.saved_capture(told.baseline.capture), book.saved_capture(taken[-1])
    raise click.UsageError("--compare takes two captures, or a unit of the casebook.")
