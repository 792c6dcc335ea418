"""``usbwatch diff``: what changed between two captures."""

from __future__ import annotations

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example, json_option

__all__ = ["diff"]


@click.command(epilog=example("usbwatch diff before.json after.json"))
@click.argument("before", metavar="A", type=click.Path(allow_dash=True, readable=False))
@click.argument("after", metavar="B", type=click.Path(allow_dash=True, readable=False))
@json_option
def diff(before: str, after: str, *, as_json: bool) -> int:
    """Show what changed from capture A to capture B.

    Exit code 0: nothing changed; 10: something did; 11: one of the two saw
    less than the other, and nothing else is known to differ.
    """
    from usbwatch.cli.choosing import fitting_or_none
    from usbwatch.cli.screen import page_width, show, write
    from usbwatch.cli.taking import loaded, local_time
    from usbwatch.compare import changes
    from usbwatch.show import changes_document, diff_view, json_text
    from usbwatch.show.diff_view import diff_heading_view

    if before == after == "-":
        raise click.UsageError("only one of A and B can be standard input.")
    first, second = loaded(before), loaded(after)
    found = changes(first, second)
    if as_json:
        write(json_text(changes_document(found)))
    else:
        times = (local_time(first.taken_at), local_time(second.taken_at))
        show(diff_heading_view(first, second, times, (before, after)))
        show(diff_view(found, page_width(), fitting_or_none(second)))
    if found.none:
        return exits.WELL
    return exits.CHANGED if found.known else exits.NOT_ALL_SEEN
