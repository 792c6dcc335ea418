"""``usbwatch capture``: record what a unit enumerates."""

from __future__ import annotations

from datetime import datetime

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example, log_option, root_option, through_option

__all__ = ["capture"]


@click.command(epilog=example("usbwatch capture", "usbwatch capture --root ./copied-unit -o before.json"))
@root_option
@log_option
@through_option
@click.option(
    "-o", "--output", metavar="FILE", help="Write here; - is standard output. Else a name from model and time."
)
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
def capture(root: str | None, log: str | None, through: str | None, output: str | None, *, force: bool) -> int:
    """Record what a unit enumerates in a file.

    Captures this machine, or a tree copied from another one. It reads, and changes
    nothing. As root more can be
    seen; the summary says what could not be seen and why.
    """
    from usbwatch.capture import to_json
    from usbwatch.capture.naming import default_name
    from usbwatch.cli.screen import show, write
    from usbwatch.cli.taking import taken
    from usbwatch.cli.writing import write_file
    from usbwatch.show import capture_view

    made = taken(root, log, through)
    path = output or default_name(made.unit, datetime.now().astimezone())
    if path == "-":
        write(to_json(made))
    else:
        write_file(path, to_json(made), force=force)
    show(capture_view(made, "standard output" if path == "-" else path), err=True)
    return exits.WELL
