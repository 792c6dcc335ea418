"""``unit list``, ``find``, ``show``, ``get``: what the casebook holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example, json_option, profile_names
from usbwatch.cli.unit.options import opened, unit_argument
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.casebook import Found, Story
    from usbwatch.model import Profile

__all__ = ["find_units", "get_document", "list_units", "show_unit"]

_MOST = 200
"""Units of one list."""


@click.command(
    name="list", epilog=example("usbwatch unit list", "usbwatch unit list --closed --model brackwell-heron-14")
)
@click.option("--closed", is_flag=True, help="Those that have left, instead of those on the bench.")
@click.option("--all", "everything", is_flag=True, help="All of them.")
@click.option("--model", default="", metavar="NAME", shell_complete=profile_names, help="Only of this model.")
@json_option
@book_option
def list_units(*, closed: bool, everything: bool, model: str, as_json: bool, book: str | None) -> int:
    """List the units on the bench, the latest entry first."""
    from usbwatch.cli.screen import show, write
    from usbwatch.cli.taking import local_time
    from usbwatch.show import json_text
    from usbwatch.show.unit_document import units_document
    from usbwatch.show.unit_view import units_view

    with opened(book, must_exist=True) as its:
        units = its.units(closed=None if everything else closed, model=model, limit=_MOST + 1)
    if as_json:
        write(json_text(units_document(units)))
    else:
        none = "No unit." if everything else "No unit has left." if closed else "No unit is on the bench."
        show(units_view(units[:_MOST], local_time, more=len(units) > _MOST, none=none))
    return exits.WELL


@click.command(name="find", epilog=example("usbwatch unit find LG-0001-DEMO"))
@click.argument("text")
@json_option
@book_option
def find_units(text: str, *, as_json: bool, book: str | None) -> int:
    """Find units by label, model or serial number.

    A few letters are enough. A serial number is one that the unit or a part of
    it has or once had. Exit code 10: none was found.
    """
    from usbwatch.cli.screen import show, write
    from usbwatch.cli.taking import local_time
    from usbwatch.show import json_text
    from usbwatch.show.unit_document import units_document
    from usbwatch.show.unit_view import units_view

    with opened(book, must_exist=True) as its:
        found = its.find(text, limit=_MOST + 1)
    units = [one.unit for one in found]
    if as_json:
        write(json_text(units_document(units)))
    else:
        why = [_found_by(one) for one in found[:_MOST]]
        show(units_view(units[:_MOST], local_time, why, more=len(units) > _MOST))
    return exits.WELL if found else exits.WRONG


def _found_by(found: Found) -> str:
    """The serial number or id that a unit was found by; label and model stand in its line."""
    of = f" of {found.part}" if found.part else ""
    return f"{found.by} {found.what}{of}" if found.by in ("serial", "id") else ""


@click.command(name="show", epilog=example("usbwatch unit show LB-0001"))
@unit_argument
@json_option
@book_option
def show_unit(label: str, *, as_json: bool, book: str | None) -> int:
    """Show a unit's history, with every entry and amendment."""
    from usbwatch.cli.screen import page_width, show, write
    from usbwatch.cli.taking import local_time
    from usbwatch.show import json_text
    from usbwatch.show.unit_document import unit_document
    from usbwatch.show.unit_view import unit_view

    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        told = its.story(unit)
    if as_json:
        write(json_text(unit_document(unit, told)))
    else:
        show(unit_view(unit, told, _profile(told), page_width(), local_time))
    return exits.WELL


def _profile(told: Story) -> Profile | None:
    """The unit's profile, for the names of its parts; None where it is not known any more."""
    from usbwatch import profile as profiles
    from usbwatch.errors import UsbwatchError

    try:
        return profiles.find(told.model) if told.model else None
    except UsbwatchError:
        return None


@click.command(name="get", epilog=example("usbwatch unit get LB-0001 2 --output first.json"))
@unit_argument
@click.argument("number", type=click.IntRange(1), metavar="ENTRY")
@click.option("--output", "-o", required=True, metavar="FILE", help="Write here; nothing is overwritten.")
@book_option
def get_document(label: str, number: int, *, output: str, book: str | None) -> int:
    """Write the capture or file of an entry to a file of its own."""
    from usbwatch.cli.screen import say
    from usbwatch.cli.writing import write_bytes
    from usbwatch.errors import Refused
    from usbwatch.model.history import Attached, Baselined, Captured
    from usbwatch.profile import shown_path

    with opened(book, must_exist=True) as its:
        unit = its.unit(label)
        entry = its.story(unit).by_number(number)
        fact = entry.entry.fact if entry else None
        if isinstance(fact, (Captured, Baselined)):
            content = its.saved_capture(fact.capture).text.encode()
        elif isinstance(fact, Attached):
            content = its.content(fact.file)
        else:
            raise Refused(
                f"entry {number} of unit {unit.label} holds neither a capture nor a file",
                f"usbwatch unit show {typed(unit.label)} has the numbers",
            )
    write_bytes(output, content, remedy="choose another name with -o")
    say(f"usbwatch: {shown_path(output)} is written")
    return exits.WELL
