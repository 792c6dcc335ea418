"""``usbwatch profile add``: put profiles into the user's own library."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example

if TYPE_CHECKING:
    from usbwatch.errors import UsbwatchError
    from usbwatch.model import Match
    from usbwatch.profile import Installed

__all__ = ["add_profiles"]


@click.command(name="add", epilog=example("usbwatch profile add my-model.toml", "usbwatch profile add from-a-friend/"))
@click.argument("sources", nargs=-1, required=True, metavar="FILE|FOLDER...", type=click.Path(readable=False))
@click.option("--replace", is_flag=True, help="Take the place of a profile with the same id; a copy of it is kept.")
def add_profiles(sources: tuple[str, ...], *, replace: bool) -> int:
    """Check profiles and put them into your library.

    A FOLDER stands for the .toml files in it. A profile is text, and nothing in
    it is ever run. From then on it is found by its id and chosen by what firmware
    calls a unit, before a shipped one with the same id.

    Exit code 0: all are in the library; 3: at least one is not.
    """
    from usbwatch.cli.screen import say, write
    from usbwatch.errors import UsbwatchError

    code = exits.WELL
    for path in _files(sources):
        if isinstance(path, UsbwatchError):
            say(f"usbwatch: {path}")
            code = exits.BAD_INPUT
            continue
        try:
            done = _installed(path, replace=replace)
            write(f"{_sentence(done)}\n")
        except UsbwatchError as error:
            say(f"usbwatch: {error}")
            code = exits.BAD_INPUT
        else:
            for sentence in _beside(done):
                say(f"usbwatch: {sentence}")
    return code


def _beside(one: Installed) -> Iterator[str]:
    """What of the profiles at hand the new one stands before, or stands beside for the same units."""
    from usbwatch.profile import library
    from usbwatch.show import safe

    shelf = library()
    own, id_ = one.profile, safe(one.profile.id, 60)
    if any(other.id == own.id for other in shelf.shadowed):
        yield f"{id_}: takes the place of the shipped profile with this id, from now on."
    same = [other.id for other in shelf.profiles if other.id != own.id and _same_match(own.match, other.match)]
    if same:
        others = ", ".join(safe(other, 60) for other in same)
        yield f"{id_}: its [match] is the same as that of {others}, so name the one you mean with --profile."


def _same_match(one: Match, other: Match) -> bool:
    return bool(one.strings) and _folded(one) == _folded(other)


def _folded(match: Match) -> dict[str, set[str]]:
    from usbwatch.profile.choosing import folded

    return {key: {folded(text) for text in texts} for key, texts in match.strings.items()}


def _files(sources: tuple[str, ...]) -> list[str | UsbwatchError]:
    """Every file that was meant, and an error for each folder that has none; what is passed over is said."""
    import os

    from usbwatch.cli.screen import say
    from usbwatch.errors import BadProfile
    from usbwatch.profile import files_in, shown_path

    found: list[str | UsbwatchError] = []
    for source in sources:
        if not os.path.isdir(source):  # noqa: PTH112 - a path here is text, and pathlib cannot hold every one
            found.append(source)
            continue
        try:
            files, passed_over = files_in(source)
        except BadProfile as error:
            found.append(error)
            continue
        for one in passed_over:
            shown = shown_path(one)
            say(f"usbwatch: {shown} is passed over: it is a link or no plain file; name it by itself to add it.")
        found += files or [BadProfile(source, (("", "there is no .toml file in this folder"),))]
    return found


_REMEDY = "mend that, or name another folder with USBWATCH_PROFILES"


def _installed(path: str, *, replace: bool) -> Installed:
    from usbwatch.cli.writing import write_file
    from usbwatch.profile import install

    return install(path, lambda target, text: write_file(target, text, force=True, remedy=_REMEDY), replace=replace)


def _sentence(one: Installed) -> str:
    from usbwatch.profile import Outcome
    from usbwatch.show import safe

    id_ = safe(one.profile.id, 60)
    if one.outcome is Outcome.SAME:
        return f"{id_}: is in your library already, the same in every value."
    done = "is in your library now" if one.outcome is Outcome.ADDED else "has taken the place of the one before"
    kept = f"; a copy of that is {safe(one.backup, 200)}" if one.backup else ""
    edited = "; it was edited since its digest was made, and has a new one" if one.was_edited else ""
    return f"{id_}: {done}, as {safe(one.path, 200)}{kept}{edited}."
