"""``usbwatch kit``: what collects a capture on a unit that has nothing installed, written to a stick."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example

if TYPE_CHECKING:
    from usbwatch.kit import KitFile

__all__ = ["kit"]


@click.command(epilog=example("usbwatch kit /media/stick", "usbwatch kit . --post 192.0.2.7 --code K7PM-4RTX"))
@click.argument("folder", metavar="DIR")
@click.option("--post", metavar="ADDRESS", help="Have captures posted to the usbwatch listen at this address, too.")
@click.option("--code", metavar="CODE", help="The code that usbwatch listen shows; goes with --post.")
@click.option("--force", is_flag=True, help="Overwrite files of these names that are not from a kit.")
def kit(folder: str, post: str | None, code: str | None, *, force: bool) -> int:
    """Write the collector to a stick, for units under test.

    One Python file (standard library of Python 3.8 or later), a shell script for
    systems without Python, and a page that says what to do. Any folder will do, and
    any file system. Files of an earlier kit are renewed; captures stay.
    """
    from usbwatch.cli.screen import show
    from usbwatch.cli.writing import write_bytes
    from usbwatch.kit import kit_files
    from usbwatch.show.kit_view import kit_view

    made = kit_files(_destination(post, code))
    _check(folder, made, force=force)
    for one in made:
        write_bytes(str(Path(folder) / one.name), one.content, force=True, remedy="choose another folder")
    show(kit_view(folder, [(one.name, one.what) for one in made]))
    return exits.WELL


def _destination(post: str | None, code: str | None) -> tuple[str, ...]:
    if code is not None and not post:
        raise click.UsageError("--code goes with --post; usbwatch listen shows both.")
    words = tuple(word for word in (post, code) if word is not None)
    if any(len(word.split()) != 1 for word in words):
        raise click.UsageError("--post and --code are one word each, as usbwatch listen shows them.")
    return words


def _check(folder: str, made: tuple[KitFile, ...], *, force: bool) -> None:
    """Raise ``UnwritableOutput``, before anything is written, when the kit cannot be laid out there."""
    from usbwatch.errors import UnwritableOutput
    from usbwatch.kit import is_earlier

    try:
        if not Path(folder).is_dir():
            raise UnwritableOutput(folder, "is no folder that is there", "mount the stick, and give its folder")
        if force:
            return
        for one in made:
            path = Path(folder) / one.name
            if path.exists() and not is_earlier(one.name, _content(path)):
                remedy = "choose another folder, or give --force to overwrite it"
                raise UnwritableOutput(str(path), "is there already and is not from a kit", remedy)
    except ValueError:  # a NUL
        raise UnwritableOutput(folder, "has a name that no folder can have") from None


_LARGEST_LOOK = 4096


def _content(path: Path) -> bytes:
    """The beginning of a file, b"" of what cannot be read: that is not known to be from a kit."""
    try:
        with path.open("rb") as file:
            return file.read(_LARGEST_LOOK)
    except OSError:
        return b""
