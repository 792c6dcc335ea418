"""Where the record of a session at the bench goes: into a capture of its own, or added to one that is there."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from usbwatch.model import Capture

__all__ = ["base_capture", "refuse_clash", "refuse_taken_name"]

_OF_A_UNIT = ("sys_vendor", "product_name", "product_serial", "board_vendor", "board_name")


def refuse_clash(output: str | None, add_to: str | None) -> None:
    """Raise click's ``UsageError`` for what does not go together: the record goes to one file, and none of them is -.

    Standard output has what the session prints.
    """
    import click

    if add_to is not None and (output is not None or add_to == "-"):
        raise click.UsageError("--add-to names the file to write, so it is no dash and takes no -o.")
    if output == "-":
        raise click.UsageError("standard output has the result; give -o the name of a file.")


def refuse_taken_name(output: str | None, *, force: bool) -> None:
    """Raise ``UnwritableOutput`` before anybody has lifted a hand, not after."""
    from pathlib import Path

    from usbwatch.errors import UnwritableOutput

    if output is not None and Path(output).exists() and not force:
        remedy = "choose another name with -o, or give --force to overwrite it"
        raise UnwritableOutput(output, "is there already", remedy)


def base_capture(add_to: str | None, live: Capture, added: str) -> Capture:
    """The capture that something is added to: the one in the file, else ``live``, which is of this machine.

    ``added`` says what is added, in words. Raises ``BadCapture`` for a capture of another unit.
    """
    from usbwatch.cli.taking import loaded
    from usbwatch.errors import BadCapture

    if add_to is None:
        return live
    base = loaded(add_to)
    if _named(live) != _named(base):
        which = "this machine's firmware" if _named(base) else "it"
        problem = f"may be of another unit than this machine: {which} gives no model"
        raise BadCapture(add_to, problem, f"leave --add-to, and keep {added} in a separate capture")
    # Without root some strings are not readable, so only what both have is compared.
    told = ((getattr(base.unit, name), getattr(live.unit, name)) for name in _OF_A_UNIT)
    if any(one and other and one != other for one, other in told):
        raise BadCapture(add_to, "is of another unit than this machine", "run it on that unit, or leave --add-to")
    return base


def _named(capture: Capture) -> bool:
    """Whether firmware calls the unit anything at all, so that it can be known again."""
    return any(getattr(capture.unit, name).strip() for name in _OF_A_UNIT)
