"""The group of the casebook's commands."""

from __future__ import annotations

import click

from usbwatch.cli.on_call import OnCall, OnCallGroup
from usbwatch.cli.options import example

__all__ = ["unit"]


_COMMANDS = tuple(
    OnCall(name=name, home=f"usbwatch.cli.unit.{home}", does=does)
    for name, home, does in (
        ("open", "coming_in:open_unit", "Take a unit in, under the shop's own number for it."),
        ("capture", "recording:record_captures", "Record captures of a unit, and say what it comes to."),
        ("step", "recording:record_step", "Record what was done to a unit."),
        ("answer", "recording:record_answers", "Record what hand checks, measurements and trials showed."),
        ("note", "recording:note_text", "Record anything else, in words."),
        ("attach", "recording:attach_files", "Keep photos or other files with a unit."),
        ("amend", "amending:amend_entry", "Set an entry right, or withdraw it."),
        ("baseline", "leaving:keep_baseline", "Keep the latest capture as the unit's healthy state."),
        ("close", "leaving:close_unit", "Close a unit's case: how it leaves, and what had failed."),
        ("reopen", "coming_in:reopen_unit", "Take a unit in again that was closed: it came back."),
        ("list", "looking:list_units", "List the units on the bench, the latest entry first."),
        ("find", "looking:find_units", "Find units by label, model or serial number."),
        ("show", "looking:show_unit", "Show a unit's history, with every entry and amendment."),
        ("get", "looking:get_document", "Write the capture or file of an entry to a file of its own."),
        ("history", "shop:shop_history", "Show how a model's units fared, and how that moves the priors."),
        ("export", "exchanging:export_to_archive", "Write units, with all that belongs to them, into one archive."),
        ("import", "exchanging:import_files", "Take in archives, captures, or a stick with captures."),
    )
)
"""In the order of a unit's way over the bench."""


@click.group(
    cls=OnCallGroup,
    on_call=_COMMANDS,
    epilog=example(
        'usbwatch unit open LB-0001 first.json --claim "keyboard dead" --paid 60',
        "usbwatch check LB-0001",
        "usbwatch unit step LB-0001 swap:top-case --part known-good --minutes 60",
        "usbwatch unit show LB-0001",
    ),
)
def unit() -> None:
    """Follow a unit from intake to baseline, in a casebook.

    Everything is kept in one casebook. An entry is only ever added: what was
    wrong is amended, and stays to be seen. Which casebook: --book, or the
    variable USBWATCH_BOOK, a file or a postgresql:// URL.
    """
