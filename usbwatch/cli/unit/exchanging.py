"""``unit export`` and ``unit import``: units, with all that belongs to them, from one casebook to another."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example
from usbwatch.cli.unit.options import opened, time_options, when

if TYPE_CHECKING:
    from usbwatch.capture.saved import Saved
    from usbwatch.casebook import Book, When
    from usbwatch.casebook.exchange import Imported
    from usbwatch.model.history import Unit

__all__ = ["export_to_archive", "import_files"]


@click.command(
    name="export",
    epilog=example("usbwatch unit export LB-0001 -o lb-0001.zip", "usbwatch unit export --all -o casebook.zip"),
)
@click.argument("labels", nargs=-1, metavar="[UNIT]...")
@click.option("--all", "everything", is_flag=True, help="The whole casebook.")
@click.option("--output", "-o", required=True, metavar="FILE", help="The archive to write.")
@click.option("--force", is_flag=True, help="Overwrite the archive if it is there.")
@book_option
def export_to_archive(labels: tuple[str, ...], *, everything: bool, output: str, force: bool, book: str | None) -> int:
    """Write units, with all that belongs to them, into one archive.

    The archive is for another casebook: captures and files are in it, too.
    Serial numbers and all that was noted are in it as they were recorded: give
    it only to those who may have them.
    """
    from usbwatch.casebook.exchange import export_units
    from usbwatch.cli.screen import say
    from usbwatch.cli.taking import now
    from usbwatch.cli.writing import writing_file
    from usbwatch.profile import shown_path
    from usbwatch.show.words import counted

    if everything == bool(labels):
        raise click.UsageError("name the units, or give --all.")
    with opened(book, must_exist=True) as its:
        units = None if everything else [its.unit(label) for label in labels]
        with writing_file(output, force=force) as file:
            written = export_units(its, units, file, now())
    say(
        f"usbwatch: {shown_path(output)} holds {counted(written.units, 'unit')}, {_entries(written.entries)} and "
        f"{counted(written.documents, 'document')}; serial numbers are in it"
    )
    return exits.WELL


def _entries(count: int) -> str:
    return f"{count} {'entry' if count == 1 else 'entries'}"


@click.command(
    name="import",
    epilog=example("usbwatch unit import lb-0001.zip", "usbwatch unit import stick/captures/*.json"),
)
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(readable=False))
@time_options
@book_option
def import_files(files: tuple[str, ...], *, at: str, by: str, book: str | None) -> int:
    """Take in archives, or captures of units on the bench.

    Archives are those that usbwatch unit export wrote.
    Of an archive everything is checked first, and nothing is taken in if anything
    in it is wrong; what is in the casebook already is left as it is. A capture
    goes to the unit on the bench in which its serial number was seen.
    """
    from usbwatch.cli.screen import say
    from usbwatch.errors import UsbwatchError

    codes: list[int] = []
    with opened(book) as its:
        for path in files:
            try:
                codes.append(_imported(path, its, when(at, by)))
            except UsbwatchError as error:
                if len(files) == 1:
                    raise
                say(f"usbwatch: {error}")
                codes.append(exits.BAD_INPUT)
    return exits.worst(codes)


def _imported(path: str, book: Book, moment: When) -> int:
    from usbwatch.casebook.exchange import import_units

    if _is_json(path):
        return _capture_in(path, book, moment)
    _tell(path, import_units(book, path))
    return exits.WELL


def _is_json(path: str) -> bool:
    """Whether a file begins as JSON does; what cannot be read is told by whoever reads it."""
    from usbwatch.capture.opening import READ_ONLY

    try:
        with os.fdopen(os.open(path, READ_ONLY), "rb") as file:
            return file.read(64).lstrip().startswith(b"{")
    except (OSError, ValueError):
        return False


def _capture_in(path: str, book: Book, moment: When) -> int:
    from usbwatch.capture.saved import load_saved
    from usbwatch.cli.screen import say
    from usbwatch.cli.unit.captures import captured

    saved = load_saved(path)
    unit = _unit_of(saved, path, book)
    if saved.digest in _digests(book, unit):
        say(f"usbwatch: unit {unit.label} has this capture already")
        return exits.WELL
    return captured(book, unit, [saved], moment)


def _digests(book: Book, unit: Unit) -> set[str]:
    from usbwatch.model.history import Captured

    return {entry.fact.capture for entry in book.entries(unit) if isinstance(entry.fact, Captured)}


def _unit_of(saved: Saved, path: str, book: Book) -> Unit:
    """The one unit on the bench in which the capture's serial number was seen. Raises ``BadCapture``."""
    from usbwatch.compare.serials import is_serial
    from usbwatch.errors import BadCapture
    from usbwatch.show.words import listed

    serial = saved.capture.unit.product_serial.strip()
    if not is_serial(serial):
        remedy = "record it with usbwatch unit capture UNIT FILE"
        raise BadCapture(path, "gives no serial number of its unit, so that it cannot be told whose it is", remedy)
    found = [
        one.unit
        for one in book.find(serial)
        if one.by == "serial"
        and one.part == "unit"
        and one.what.casefold() == serial.casefold()
        and not one.unit.ending
    ]
    if len(found) == 1:
        return found[0]
    if found:
        labels = listed([one.label for one in found])
        raise BadCapture(
            path, f"fits several units on the bench ({labels})", "name one: usbwatch unit capture UNIT FILE"
        )
    remedy = f"take the unit in: usbwatch unit open LABEL {path}; if it came back: usbwatch unit reopen"
    raise BadCapture(path, f"is of a unit that is not on the bench (serial number {serial})", remedy)


def _tell(path: str, imported: Imported) -> None:
    from usbwatch.cli.screen import say
    from usbwatch.profile import shown_path
    from usbwatch.show.words import counted

    for one in imported.units:
        one_label = one.unit.label
        what = "is new here" if one.new else f"got {_entries(one.entries)} more" if one.entries else "has nothing new"
        say(f"usbwatch: unit {one_label} {what}{_renamed(one.label, one_label)}")
    say(
        f"usbwatch: {shown_path(path)}: {counted(len(imported.units), 'unit')}; "
        f"{_entries(imported.entries)} and {counted(imported.documents, 'document')} were added"
    )


def _renamed(label: str, here: str) -> str:
    return "" if label == here else f" (there {label}, a label that another unit here has)"
