"""``usbwatch handcheck``: a person moves a part, and the unit is watched for an answer."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example, json_option, profile_names

if TYPE_CHECKING:
    from usbwatch.model import Capture, Profile
    from usbwatch.show.handcheck_view import HandResult

__all__ = ["handcheck"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Request:
    """What was asked for on the command line."""

    checks: tuple[str, ...]
    profile: str | None
    patience_s: int
    output: str | None
    add_to: str | None
    force: bool
    as_json: bool


@click.command(epilog=example("usbwatch handcheck", "usbwatch handcheck keyboard lid --add-to before.json"))
@click.argument("checks", nargs=-1, metavar="[CHECK]...")
@click.option("--profile", metavar="NAME|FILE", shell_complete=profile_names, help="Ask by this profile.")
@click.option(
    "--timeout",
    "patience_s",
    type=click.IntRange(1, 3600),
    default=30,
    show_default=True,
    metavar="SECONDS",
    help="Wait so long for each answer.",
)
@click.option("-o", "--output", metavar="FILE", help="Write the capture here, else to a name from model and time.")
@click.option(
    "--add-to", type=click.Path(readable=False), metavar="CAPTURE", help="Add to this capture of the same unit."
)
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@json_option
def handcheck(
    checks: tuple[str, ...],
    profile: str | None,
    patience_s: int,
    output: str | None,
    add_to: str | None,
    *,
    force: bool,
    as_json: bool,
) -> int:
    """Ask a person to move a part, and see what answers.

    For what no capture can show: keyboards on PS/2, lid switches. It runs on the
    unit itself and only listens: nothing is grabbed or written, and no key is
    recorded. CHECK is a device or a function of the profile: keyboard, touchpad,
    touchscreen, mains-adapter, lid. Without one it asks for what nothing else
    can prove.

    Exit code 0: all answered; 10: something stayed silent; 11: not all done.
    """
    from usbwatch.cli.adding import refuse_clash

    refuse_clash(output, add_to)
    request = _Request(
        checks=checks,
        profile=profile,
        patience_s=patience_s,
        output=output,
        add_to=add_to,
        force=force,
        as_json=as_json,
    )
    return _hand_checked(request)


def _hand_checked(request: _Request) -> int:
    from usbwatch.capture.watched_nodes import sources
    from usbwatch.cli.adding import base_capture, refuse_taken_name
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.hearing import deaf_sentence, heard, live_bench, results, rights_sentence
    from usbwatch.cli.screen import say
    from usbwatch.cli.taking import taken
    from usbwatch.compare.hand_tasks import hand_tasks

    refuse_taken_name(request.output, force=request.force)
    live = taken(None, None)
    base = base_capture(request.add_to, live, "the hand checks")
    profile = chosen(base, request.profile, may_ask=not request.as_json)
    _refuse_unknown(request.checks, profile)
    bench = live_bench()
    watched = sources(bench.tree, live)
    ears = heard(watched, bench)
    lacking = rights_sentence(ears) or deaf_sentence(ears, live)
    if lacking:
        say(f"usbwatch: {lacking}")
    now_and_before = replace(live, observations=base.observations)
    tasks = hand_tasks(now_and_before, profile, ears, request.checks)
    found = results(tasks, watched, bench, request.patience_s)
    return _told(found, base, profile, request)


def _refuse_unknown(checks: tuple[str, ...], profile: Profile) -> None:
    from usbwatch.compare.hand_tasks import DEEDS

    able = [one for one in profile.devices if one.function in DEEDS]
    known = sorted({one.id for one in able} | {one.function for one in able})
    for check in checks:
        if check not in known:
            problem = (
                f"profile {profile.id} has nothing called '{check}' that a hand can move. It has: {', '.join(known)}."
            )
            raise click.BadParameter(problem, param_hint="'[CHECK]...'")


def _told(found: tuple[HandResult, ...], base: Capture, profile: Profile, request: _Request) -> int:
    from usbwatch.cli.screen import page_width, show, write
    from usbwatch.show import json_text
    from usbwatch.show.handcheck_view import handcheck_document, handcheck_view

    path = _written(found, base, request)
    if request.as_json:
        write(json_text(handcheck_document(found, profile, path)))
    else:
        show(handcheck_view(found, profile, path, page_width()))
    return _code(found)


def _written(found: tuple[HandResult, ...], base: Capture, request: _Request) -> str:
    """Write the capture with what was observed; the file's name, "" when there was nothing to write."""
    from usbwatch.capture import to_json
    from usbwatch.capture.naming import default_name
    from usbwatch.cli.writing import write_file

    seen = tuple(one.observation for one in found if one.observation is not None)
    if not seen:
        return ""
    path = request.add_to or request.output or default_name(base.unit, datetime.now().astimezone())
    whole = replace(base, observations=(*base.observations, *seen))
    write_file(path, to_json(whole), force=request.force or request.add_to is not None)
    return path


def _code(found: tuple[HandResult, ...]) -> int:
    from usbwatch.model import Response

    told = [one.observation.response if one.observation else Response.NOT_DONE for one in found]
    if Response.SILENT in told:
        return exits.WRONG
    return exits.NOT_ALL_SEEN if not told or Response.NOT_DONE in told else exits.WELL
