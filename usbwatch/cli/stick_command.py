"""``usbwatch stick``: a bootable image for units under test, and a stick written from it."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example

if TYPE_CHECKING:
    from usbwatch.stick.devices import Target

__all__ = ["stick"]

_WORD = "erase"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What the command line says."""

    image: str
    device: str | None
    folders: tuple[str, ...]
    money: bool
    priors: bool
    book: str | None
    further: tuple[str, ...]
    force: bool
    yes: bool

    @property
    def says_what_to_build(self) -> bool:
        return bool(self.folders or self.money or self.priors or self.further)


@click.command(
    epilog=example("usbwatch stick bench.img", 'sudo "$(command -v usbwatch)" stick bench.img --write /dev/sdX'),
)
@click.argument("image", metavar="IMAGE")
@click.option("--write", "device", metavar="DEVICE", help="Write the image to this stick; all that is on it is erased.")
@click.option(
    "--profiles", "folders", multiple=True, metavar="DIR", help="Take these profiles along, besides your own library."
)
@click.option("--money", is_flag=True, help="Take prices along, and show costs on the unit.")
@click.option("--priors", is_flag=True, help="Take along what the shop's closed cases come to.")
@book_option
@click.option(
    "--with",
    "further",
    multiple=True,
    metavar="PACKAGE",
    help="Take a further package of the distribution along, such as firmware for radios.",
)
@click.option("--force", is_flag=True, help="Build anew where IMAGE is there already.")
@click.option("--yes", is_flag=True, help="Write without asking; needed where nobody can be asked.")
@click.pass_context
def stick(
    context: click.Context,
    *,
    image: str,
    device: str | None,
    folders: tuple[str, ...],
    further: tuple[str, ...],
    book: str | None,
    money: bool,
    priors: bool,
    force: bool,
    yes: bool,
) -> int:
    """Build a stick that starts on a unit, looks, judges and shows.

    IMAGE is made of the distribution's own packages, for 64-bit x86 with UEFI;
    Secure Boot may stay on. Building needs Debian, a package index, no rights, and a
    few minutes. An IMAGE that is there is written with --write as it is. Writing
    needs rights: sudo.

    Your profiles go along without prices, unless --money is given: the unit's
    owner may see the screen. Without prices the next step is weighed with usual
    figures.
    """
    if book and not priors and context.get_parameter_source("book") is ParameterSource.COMMANDLINE:
        raise click.UsageError("--book goes with --priors; without that no closed cases are taken along.")
    if yes and device is None:
        raise click.UsageError("--yes goes with --write.")
    asked = _Asked(
        image=image, device=device, folders=folders, money=money, priors=priors, book=book, further=further,
        force=force, yes=yes,
    )  # fmt: skip
    return _done(asked)


def _done(asked: _Asked) -> int:
    """Everything that can be refused is, before anything is built; then build, if there is need to, and write."""
    import os

    from usbwatch.errors import CannotBuild, UnwritableOutput

    if sys.platform != "linux":
        remedy = "build and write it on Debian; usbwatch kit writes a collector that needs no image"
        raise CannotBuild("this system is not Linux", remedy)
    there = os.path.exists(asked.image)  # noqa: PTH110 - no name and no lack of rights is an error to it
    if there and asked.device is None and not asked.force:
        raise UnwritableOutput(
            asked.image, "is there already", "give --force to build it anew, or --write to write it to a stick"
        )
    if there and not asked.force and asked.says_what_to_build:
        raise click.UsageError("IMAGE is there already and would be written as it is; give --force to build it anew.")
    place = _place(asked.image) if not there or asked.force else None
    target = None if asked.device is None else _target(asked, asked.device, whole=place is None)
    if place is not None:
        _build(asked, place)
    if target is not None:
        _write(asked, target)
    return exits.WELL


def _target(asked: _Asked, device: str, *, whole: bool) -> Target:
    """The device, if it may be written to and someone says so; ``whole``: the image is there already."""
    import os

    from usbwatch.cli.screen import asks, show
    from usbwatch.errors import CannotWriteStick
    from usbwatch.show.stick_view import target_view
    from usbwatch.stick.devices import examined
    from usbwatch.stick.writing import checked_image, refuse_small

    table = checked_image(asked.image) if whole else None
    target = examined(device)
    if table is not None:
        refuse_small(target, table)
    if not os.access(device, os.W_OK):
        first = "run the same command with sudo" if whole else "build without --write first, then write it with sudo"
        raise CannotWriteStick(device, "may not be written by you", first)
    show(target_view(target), err=True)
    if asked.yes:
        return target
    if not asks():
        raise CannotWriteStick(device, "nobody can be asked here", "give --yes if all that is on it may go")
    if click.prompt(f'Type "{_WORD}" to go on', default="", show_default=False, err=True).strip().lower() != _WORD:
        raise CannotWriteStick(device, "nothing was written", f'type "{_WORD}" when asked, to write it')
    return target


def _build(asked: _Asked, target: Path) -> None:
    import time

    from usbwatch.cli.going_along import recipe_of
    from usbwatch.cli.screen import say, show
    from usbwatch.show.stick_view import built_view, next_steps
    from usbwatch.stick.building import build_image
    from usbwatch.stick.devices import removable

    recipe, notices = recipe_of(
        asked.folders, money=asked.money, priors=asked.priors, book=asked.book, further=asked.further
    )
    for notice in notices:
        say(f"usbwatch: {notice}")
    began = time.monotonic()
    settings = build_image(target, recipe, tell=lambda stage: say(f"usbwatch: {stage} ..."))
    names = ", ".join(name.removesuffix(".toml") for name in recipe.profiles)
    facts = [
        ("profiles", f"those shipped with usbwatch; {f'your own: {names}' if names else 'none of your own'}"),
        ("closed cases", "go along" if recipe.experience else "stay here (--priors)"),
        ("prices", "go along, and costs are shown on the unit" if recipe.money else "stay here (--money)"),
        *([("packages", ", ".join(recipe.further))] if recipe.further else []),
        ("built in", f"{time.monotonic() - began:.0f} s"),
    ]
    show(built_view(asked.image, target.stat().st_size, settings, facts))
    if asked.device is None:
        show(next_steps(asked.image, removable()))


def _place(image: str) -> Path:
    """Where an image may be put; raises ``UnwritableOutput`` before anything is fetched for it."""
    import os

    from usbwatch.errors import UnwritableOutput

    try:
        target = Path(image).resolve()
        if target.exists() and not target.is_file():
            raise UnwritableOutput(image, "is there and is no plain file", "choose another name")
        if not target.parent.is_dir():
            raise UnwritableOutput(image, "cannot be made: its folder is not there", "make that folder first")
    except PermissionError:
        raise UnwritableOutput(
            image, "cannot be made: its folder may not be entered", "choose another folder"
        ) from None
    except (ValueError, RuntimeError, OSError):
        raise UnwritableOutput(image, "has a name that no file can have", "choose another name") from None
    if not os.access(target.parent, os.W_OK):
        raise UnwritableOutput(image, "cannot be made: its folder may not be written to", "choose another folder")
    return target


def _write(asked: _Asked, target: Target) -> None:
    from usbwatch.cli.screen import say, show
    from usbwatch.show.stick_view import written_view
    from usbwatch.stick.writing import write_image

    tenths = 0

    def tell(done: int, total: int) -> None:
        nonlocal tenths
        if done * 10 // total > tenths:
            tenths = done * 10 // total
            say(f"usbwatch: {tenths * 10} % {'written' if tenths <= _HALF else 'written and read back'}")

    try:
        digest = write_image(asked.image, target, tell=tell)
    except KeyboardInterrupt:
        say(f"usbwatch: {target.path} is no whole stick now; write it again.")
        raise
    show(written_view(target, digest))


_HALF = 5
"""Tenths of the way at which all is written, and reading back begins."""
