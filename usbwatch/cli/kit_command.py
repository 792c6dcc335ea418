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
    any file system. Files of an earlier kit are renewed; captures stay. For
    --post, start usbwatch listen --address ADDRESS --same-code first: the
    code counts for as long as that runs.
    """
    from usbwatch.cli.screen import show
    from usbwatch.cli.writing import write_bytes
    from usbwatch.kit import kit_files
    from usbwatch.show.kit_view import kit_view

    made = kit_files(_destination(post, code))
    _check(folder, made, force=force)
    for one in made:
        write_bytes(str(Path(folder) / one.name), one.content, force=True, remedy="choose another folder")
    notes = _code_counts() if post else _old_note(Path(folder))
    show(kit_view(folder, [(one.name, one.what) for one in made], notes))
    return exits.WELL


def _code_counts() -> list[str]:
    return ["the code counts until that usbwatch listen --same-code is ended; after that make the kit anew."]


def _old_note(folder: Path) -> list[str]:
    """What became of a note of where to post to, in a kit that is not to post: its code is likely dead."""
    from usbwatch.kit import is_note_of_kit
    from usbwatch.kit.collecting import POST_TO

    path = folder / POST_TO
    if not path.is_file() and not path.is_symlink():
        return []
    stays = f"{POST_TO} is there, so captures will be posted to the bench that it names, with the code in it"
    if not is_note_of_kit(_content(path)):
        return [f"{stays}; it is not as a kit writes it, so it stays. Remove it if they are not to be posted."]
    try:
        path.unlink()
    except OSError as error:
        return [f"{stays}; it cannot be removed ({error.strerror})."]
    return [f"{POST_TO} of an earlier kit was removed: captures are not posted (--post writes a new one)."]


def _destination(post: str | None, code: str | None) -> tuple[str, ...]:
    """Address and code as they go on the stick; what the unit or the bench would refuse is refused here."""
    if post is None:
        if code is not None:
            raise click.UsageError("--code goes with --post; usbwatch listen shows both.")
        return ()
    loopback = _is_loopback(post)
    if code is None and not loopback:
        raise click.UsageError("--post needs --code too: the code that usbwatch listen --same-code shows.")
    if code is None:
        return (post.strip(),)

    from usbwatch.listen.codes import is_code

    if not is_code(code):
        raise click.UsageError(
            "--code cannot be a code: those have eight letters and digits, without I, L, O, 0 and 1, such as K7PM-4RTX."
        )
    return (post.strip(), "".join(code.split()))


def _is_loopback(post: str) -> bool:
    """Whether an address is this computer's own for itself. Raises ``UsageError`` for one that no unit can post to."""
    import ipaddress

    from usbwatch.kit.posting import NotPosted, place

    try:
        host, _ = place(post)
    except NotPosted as error:
        raise click.UsageError(f"--post: {error}") from None
    try:
        address = ipaddress.ip_address("127.0.0.1" if host == "localhost" else host)
    except ValueError:
        raise click.UsageError(
            "--post: give the bench's address in numbers, such as 192.168.7.1; called by a name it takes nothing."
        ) from None
    if address.is_unspecified or address.is_multicast:
        raise click.UsageError(f"--post: {address} is no computer's address; usbwatch listen shows the bench's own.")
    return address.is_loopback


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
