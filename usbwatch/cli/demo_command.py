"""``usbwatch demo``: the whole job on an invented unit, from shipped captures."""

from __future__ import annotations

from pathlib import Path

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example

__all__ = ["demo"]

HEALTHY = "larch-13-healthy.json"
FAULTY = "larch-13-top-case-lost.json"

_SCHEMA = "capture.schema.json"
_REMEDY = "choose another folder, or give --force to overwrite it"


@click.command(epilog=example("usbwatch demo", "usbwatch demo --into captures"))
@click.option("--into", metavar="DIR", help="Write the demo's captures into this folder instead, to type along.")
@click.option("--force", is_flag=True, help="With --into: overwrite files of these names that are not the demo's.")
def demo(into: str | None, *, force: bool) -> int:
    """Show the whole job on an invented unit.

    Nothing of this machine is read. A unit that does not exist has lost what sits in its top case. Its shipped
    capture is checked against its profile, and compared with the capture of the
    same unit while it was healthy.
    """
    if force and into is None:
        raise click.UsageError("--force goes with --into.")
    return _shown() if into is None else _written(into, force=force)


def _written(folder: str, *, force: bool) -> int:
    """The captures that the documentation's examples are made of, put into a folder; what is the same there stays."""
    from usbwatch.cli.screen import say
    from usbwatch.cli.writing import write_bytes
    from usbwatch.profile import shipped

    target = _made(folder)
    captures = [path for path in sorted(shipped("captures").glob("*.json")) if path.name != _SCHEMA]
    new = [path for path in captures if not _has(target / path.name, path.read_bytes())]
    for path in new:
        write_bytes(str(target / path.name), path.read_bytes(), force=force, remedy=_REMEDY)
    say(f"usbwatch: {len(captures)} captures of invented units are in {folder}")
    return exits.WELL


def _made(folder: str) -> Path:
    """The folder, made where it was not. Raises ``UnwritableOutput`` when that cannot be."""
    from usbwatch.errors import UnwritableOutput

    target = Path(folder)
    try:
        target.mkdir(exist_ok=True)
    except (OSError, ValueError) as error:  # ValueError: a NUL
        reason = getattr(error, "strerror", None) or str(error)
        raise UnwritableOutput(folder, f"cannot be made a folder ({reason})", "choose another place") from error
    return target


def _has(path: Path, content: bytes) -> bool:
    """Whether this very content is there; what is no file of its size, as a pipe is, is not read."""
    try:
        return path.is_file() and path.stat().st_size == len(content) and path.read_bytes() == content
    except OSError:
        return False


def _shown() -> int:
    """The demonstration itself."""
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.one_check import checked
    from usbwatch.cli.screen import page_width, show
    from usbwatch.cli.taking import loaded, local_time
    from usbwatch.compare import changes
    from usbwatch.profile import shipped
    from usbwatch.show import check_view, diff_view
    from usbwatch.show.demo_view import DEMO_END, DEMO_START, DEMO_TYPE, demo_step_view

    folder = shipped("captures")
    healthy, faulty = loaded(str(folder / HEALTHY)), loaded(str(folder / FAULTY))
    profile = chosen(faulty, None, may_ask=False)
    result = checked(faulty, profile)
    width = page_width()
    show(
        [
            *demo_step_view(DEMO_START, f"usbwatch check {FAULTY}"),
            *check_view(result, width, local_time(faulty.taken_at)),
            *demo_step_view("What has changed since the same unit was healthy:", f"usbwatch diff {HEALTHY} {FAULTY}"),
            *diff_view(changes(healthy, faulty), width, profile),
            *demo_step_view(DEMO_TYPE, "usbwatch demo --into captures"),
            *demo_step_view(DEMO_END, "usbwatch check"),
        ]
    )
    return exits.WELL
