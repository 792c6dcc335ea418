"""The group of the casebook's commands."""

from __future__ import annotations

import click

from usbwatch.cli.options import example
from usbwatch.cli.unit.amending import amend_entry
from usbwatch.cli.unit.coming_in import open_unit, reopen_unit
from usbwatch.cli.unit.exchanging import export_to_archive, import_files
from usbwatch.cli.unit.leaving import close_unit, keep_baseline
from usbwatch.cli.unit.looking import find_units, get_document, list_units, show_unit
from usbwatch.cli.unit.recording import attach_files, note_text, record_answers, record_captures, record_step
from usbwatch.cli.unit.shop import shop_history

__all__ = ["unit"]


class _InOrder(click.Group):
    """Its help lists the commands in the order of a unit's way over the bench."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's own signature
        return list(self.commands)


@click.group(
    cls=_InOrder,
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


for _command in (
    open_unit,
    record_captures,
    record_step,
    record_answers,
    note_text,
    attach_files,
    amend_entry,
    keep_baseline,
    close_unit,
    reopen_unit,
    list_units,
    find_units,
    show_unit,
    get_document,
    shop_history,
    export_to_archive,
    import_files,
):
    unit.add_command(_command)
