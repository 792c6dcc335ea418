"""``unit export`` and ``unit import``: units, with all that belongs to them, from one casebook to another."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import book_option, example
from usbwatch.cli.unit.options import opened, time_options, when

if TYPE_CHECKING:
    from usbwatch.casebook import Book, When
    from usbwatch.casebook.exchange import Imported

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
    epilog=example("usbwatch unit import lb-0001.zip", "usbwatch unit import /media/stick"),
)
@click.argument("files", nargs=-1, required=True, metavar="FILE|FOLDER...", type=click.Path(readable=False))
@time_options
@book_option
def import_files(files: tuple[str, ...], *, at: str, by: str, book: str | None) -> int:
    """Take in archives, captures, or a stick with captures.

    Archives are those that usbwatch unit export wrote.
    Of an archive everything is checked first, and nothing is taken in if anything
    in it is wrong; what is in the casebook already is left as it is. A capture
    goes to the unit on the bench in which its serial number was seen, or whose
    label was given on the unit; a label that is new here opens a unit. Steps and
    answers that were noted on the unit are recorded with it. Of a folder all
    captures are taken in.
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
    from usbwatch.cli.unit.carrying import taken_in
    from usbwatch.cli.unit.stick_files import carried, is_notes

    if os.path.isdir(path):  # noqa: PTH112 - a hostile name stays as it is
        return _folder_in(path, book, moment)
    if is_notes(path):  # goes with its capture
        return exits.WELL
    if _is_json(path):
        return taken_in(carried(path), book, moment)
    _tell(path, import_units(book, path, now=moment.now))
    return exits.WELL


def _folder_in(path: str, book: Book, moment: When) -> int:
    """All captures in a folder, such as a stick's: what is wrong with one keeps no other from being taken in."""
    from usbwatch.cli.screen import say
    from usbwatch.cli.unit.carrying import taken_in
    from usbwatch.cli.unit.stick_files import capture_files, carried, in_order, with_labels
    from usbwatch.errors import UsbwatchError

    found, codes = [], []
    for one in capture_files(path):
        try:
            found.append(carried(one))
        except UsbwatchError as error:
            say(f"usbwatch: {error}")
            codes.append(exits.BAD_INPUT)
    for capture in with_labels(in_order(found)):
        try:
            codes.append(taken_in(capture, book, moment))
        except UsbwatchError as error:
            say(f"usbwatch: {error}")
            codes.append(exits.BAD_INPUT)
    return exits.worst(codes)


def _is_json(path: str) -> bool:
    """Whether a file begins as JSON does; what cannot be read is told by whoever reads it."""
    from usbwatch.capture.opening import READ_ONLY

    try:
        with os.fdopen(os.open(path, READ_ONLY), "rb") as file:
            return file.read(64).lstrip().startswith(b"{")
    except (OSError, ValueError):
        return False


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
