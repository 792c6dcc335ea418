"""Options that the casebook's commands share, and what they come to."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, TypeVar

import click

from usbwatch.cli.taking import now

if TYPE_CHECKING:
    from usbwatch.casebook import Book, When

__all__ = ["MONEY", "Whole", "opened", "time_options", "unit_argument", "when", "yes_or_no"]

_Command = TypeVar("_Command", bound=Callable[..., Any])


class Whole(click.IntRange):
    """A whole number; one with a fraction is refused in these words."""

    name = "whole number"


MONEY = Whole(0, 10**9)
"""Whole units of the shop's currency."""

_CLOCKS_DIFFER = timedelta(days=1)


def unit_argument(command: _Command) -> _Command:
    """The unit's label as the argument ``label``."""
    return click.argument("label", metavar="UNIT", shell_complete=_labels)(command)


def _labels(context: click.Context, _parameter: click.Parameter, incomplete: str) -> list[str]:
    """Labels of units on the bench that begin so, for the shell to complete."""
    from usbwatch.errors import UsbwatchError

    try:
        with opened(context.params.get("book"), must_exist=True) as book:
            return [one.label for one in book.units(closed=False) if one.label.startswith(incomplete)]
    except UsbwatchError:
        return []


def time_options(command: _Command) -> _Command:
    """``--at`` and ``--by`` as the arguments ``at`` and ``by``."""
    command = click.option("--by", default="", envvar="USBWATCH_BY", help="Who records it (or set USBWATCH_BY).")(
        command
    )
    return click.option(
        "--at",
        callback=_moment,
        metavar="TIME",
        help='When it happened, if not now: "2026-03-02 09:30", or 09:30 today.',
    )(command)


def _moment(_context: click.Context, _parameter: click.Parameter, value: str | None) -> str:
    """A time on the bench's clock, or with an offset, as RFC 3339 in UTC; "" for none."""
    if not value:
        return ""
    today = f"{datetime.now().astimezone():%Y-%m-%d} " if re.match(r"\d\d?:\d\d\Z", value, re.ASCII) else ""
    try:
        moment = datetime.fromisoformat(today + value.rjust(5, "0") if today else value).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        raise click.BadParameter(f"'{value}' is no time; write it as 2026-03-02 09:30.") from None
    if moment > datetime.now(UTC) + _CLOCKS_DIFFER:
        raise click.BadParameter(f"'{value}' has not come yet.")
    return moment.isoformat(timespec="seconds").replace("+00:00", "Z")


def when(at: str, by: str) -> When:
    """The time of a recording, and who does it."""
    from usbwatch.casebook import When

    return When(now=now(), at=at, by=by)


@contextmanager
def opened(address: str | None, *, must_exist: bool = False) -> Iterator[Book]:
    """The casebook that is meant, closed when the block ends. Raises ``BadBook``."""
    from usbwatch.casebook import default_address, open_book
    from usbwatch.cli.screen import say

    book = open_book(address or default_address(), must_exist=must_exist)
    try:
        if book.copy_kept:
            say(f"usbwatch: the casebook was brought up to date; as it was before, it is kept in {book.copy_kept}")
        yield book
    finally:
        book.close()


def yes_or_no(context: click.Context, parameter: click.Parameter, value: str | None) -> bool | None:
    """A click callback: yes, no, or not told."""
    if value is None:
        return None
    if value.lower() not in ("yes", "no"):
        raise click.BadParameter(f"'{value}' is neither yes nor no.", context, parameter)
    return value.lower() == "yes"
