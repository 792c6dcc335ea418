"""``usbwatch profile learn``: a profile from many captures of units of one model."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example, json_option
from usbwatch.cli.profile_draft_command import known_layout

if TYPE_CHECKING:
    from usbwatch.drafting import Draft
    from usbwatch.drafting.learning import Learnt, Source

__all__ = ["learn_profile"]


@click.command(
    name="learn",
    epilog=example(
        "usbwatch profile learn captures/ --output my-model.toml", "usbwatch profile learn unit-*.json --json"
    ),
)
@click.argument("captures", nargs=-1, required=True, metavar="FILE|FOLDER...", type=click.Path(readable=False))
@click.option(
    "--layout",
    callback=known_layout,
    metavar="LAYOUT",
    help="How the units are built: clamshell, separate-keyboard, detachable or all-in-one (profile draft --help). "
    "Not given: by what firmware calls their chassis.",
)
@click.option("--output", "-o", metavar="FILE", help="Write here instead of standard output; nothing is overwritten.")
@json_option
def learn_profile(captures: tuple[str, ...], *, layout: str | None, output: str | None, as_json: bool) -> int:
    """Learn the profile of a model from captures of many units.

    Of a FOLDER every file is read whose name ends in .json. What most units have
    is expected of all; what only some have is told by a string of firmware where
    one tells it. Units that were not healthy and devices of your own that were
    left in are found and named, and so is a capture of another model. What was
    learnt, and how many units stand behind each line, is said on standard error.

    Exit code 3: nothing could be learnt. A file that cannot be read is said, and
    does not stop the rest.
    """
    from usbwatch.cli.screen import say, show, write
    from usbwatch.drafting.learning import learn

    _refuse_taken(output)
    emulated: list[str] = []
    learnt = learn(_sources(captures, emulated))
    if not learnt.captures and not learnt.outliers:
        say("usbwatch: none of these files is a capture; give captures of units of one model.")
        return exits.BAD_INPUT
    if as_json:
        from usbwatch.show import json_text
        from usbwatch.show.learnt_view import learnt_document

        write(json_text(learnt_document(learnt)))
    else:
        from usbwatch.show.learnt_view import learnt_view

        show(learnt_view(learnt), err=True)
    if not learnt.captures:
        say("usbwatch: nothing can be learnt from these captures, for the reasons above.")
        return exits.BAD_INPUT
    if emulated:
        say(f"usbwatch: captures made on an emulated machine: {len(emulated)}; the profile may hold emulated parts.")
    if output is not None or not as_json:
        _write(_drafted(learnt, layout), output)
    return exits.WELL


def _refuse_taken(output: str | None) -> None:
    """Say that a file is there before thousands of captures are read, not after."""
    from usbwatch.errors import UnwritableOutput

    if output is not None and os.path.lexists(output):
        raise UnwritableOutput(output, "is there already", "choose another name with --output")
    if output is not None and not Path(output).absolute().parent.is_dir():
        raise UnwritableOutput(output, "is in a folder that is not there", "make it, or choose another with --output")


def _sources(given: tuple[str, ...], emulated: list[str]) -> Iterator[Source]:
    """The captures one after another; a file that is none is said and passed over.

    ``emulated`` is given the names of those that were made on an emulated machine.
    """
    from usbwatch.capture.saved import load_saved
    from usbwatch.cli.screen import say
    from usbwatch.drafting.learning import Source
    from usbwatch.errors import UsbwatchError

    for path in _paths(given):
        try:
            saved = load_saved(path)
        except UsbwatchError as error:
            say(f"usbwatch: {error}")
            continue
        if saved.capture.system.virtual:
            emulated.append(path)
        yield Source(name=path, digest=saved.digest, capture=saved.capture)


def _paths(given: tuple[str, ...]) -> Iterator[str]:
    """The files given, and those in the folders given, each folder's by name."""
    from usbwatch.cli.screen import say
    from usbwatch.profile import shown_path

    for path in given:
        try:
            inside = sorted(str(one) for one in Path(path).iterdir() if one.suffix == ".json")
        except (OSError, ValueError):  # no folder; whether it is a file is told when it is read
            yield path
            continue
        if not inside:
            shown = shown_path(path)
            say(f"usbwatch: folder {shown}: no file in it has a name that ends in .json; give one with captures.")
        yield from inside


def _drafted(learnt: Learnt, layout: str | None) -> Draft:
    from usbwatch.cli.screen import say
    from usbwatch.cli.taking import now
    from usbwatch.drafting import LAYOUTS, draft_of_many, layout_for
    from usbwatch.show import safe

    chassis = learnt.strings.get("chassis_type", ())
    chosen = LAYOUTS[layout] if layout else layout_for(chassis[0][0] if chassis else "")
    if layout is None:
        others = ", ".join(one for one in LAYOUTS if one != chosen.id)
        told = chassis and chassis[0][0].strip() in chosen.chassis_types
        why = f"chassis type {safe(chassis[0][0])}" if told else "firmware tells no kind of chassis"
        say(f"usbwatch: layout {chosen.id} ({why}); --layout takes {others}, too.")
    return draft_of_many(learnt, chosen, today=now()[:10])


def _write(made: Draft, output: str | None) -> None:
    """The profile, once it is known to be read as one."""
    from usbwatch.cli.screen import say, write
    from usbwatch.cli.writing import write_file
    from usbwatch.drafting import text_of
    from usbwatch.profile import parse, shown_path

    text = text_of(made)
    parse(text, output or "the learnt profile")
    if output is None:
        write(text)
        return
    write_file(output, text, remedy="choose another name with --output")
    shown = shown_path(output)
    say(f"usbwatch: {shown} is learnt; go through it, then: usbwatch profile add {shown}")
