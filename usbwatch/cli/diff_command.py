"""``usbwatch diff``: what changed between two captures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example, json_option
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.casebook import Book, Story
    from usbwatch.model import Capture

__all__ = ["diff"]


@click.command(epilog=example("usbwatch diff before.json after.json", "usbwatch diff LB-0001"))
@click.argument("before", metavar="A|UNIT", type=click.Path(allow_dash=True, readable=False))
@click.argument("after", metavar="[B]", required=False, type=click.Path(allow_dash=True, readable=False))
@book_option
@json_option
def diff(before: str, after: str | None, *, book: str | None, as_json: bool) -> int:
    """Show what changed from capture A to capture B.

    A UNIT of the casebook stands for its baseline in place of A, or without one
    for its first capture; without B that is compared with its latest capture.

    Exit code 0: nothing changed; 10: something did; 11: one of the two saw
    less than the other, and nothing else is known to differ.
    """
    from usbwatch.cli.choosing import fitting_or_none
    from usbwatch.cli.screen import page_width, show, write
    from usbwatch.cli.taking import local_time
    from usbwatch.compare import changes
    from usbwatch.show import changes_document, diff_view, json_text
    from usbwatch.show.diff_view import diff_heading_view

    if before == after == "-":
        raise click.UsageError("only one of A and B can be standard input.")
    first, second, names = _both(before, after, book)
    found = changes(first, second)
    if as_json:
        write(json_text(changes_document(found)))
    else:
        times = (local_time(first.taken_at), local_time(second.taken_at))
        show(diff_heading_view(first, second, times, names))
        show(diff_view(found, page_width(), fitting_or_none(second)))
    if found.none:
        return exits.WELL
    return exits.CHANGED if found.known else exits.NOT_ALL_SEEN


def _both(before: str, after: str | None, book: str | None) -> tuple[Capture, Capture, tuple[str, str]]:
    """The two captures, and what they are called."""
    from usbwatch.cli.taking import loaded
    from usbwatch.cli.unit.checking import named_unit

    with named_unit(before, book) as found:
        if found is not None:
            its, unit = found
            told = its.story(unit)
            return _of_unit(told, its, loaded(after) if after is not None else None, after or "")
    if after is None:
        raise click.UsageError("give two captures, or a unit of the casebook.")
    return loaded(before), loaded(after), (before, after)


def _of_unit(told: Story, book: Book, after: Capture | None, name: str) -> tuple[Capture, Capture, tuple[str, str]]:
    """The baseline, or without one the first capture of this visit, and what it is compared with."""
    from usbwatch.casebook import looks
    from usbwatch.errors import Refused

    taken = [one.capture for one in looks(told) if one.capture]
    if told.baseline is None and not taken:
        raise Refused(
            f"unit {told.label} was not captured yet", f"capture it: usbwatch unit capture {typed(told.label)}"
        )
    first = told.baseline.capture if told.baseline is not None else taken[0]
    word = "baseline" if told.baseline is not None else "first capture"
    if after is None:
        after, name = book.saved_capture([first, *taken][-1]).capture, f"latest capture of {told.label}"
    return book.saved_capture(first).capture, after, (f"{word} of {told.label}", name)
