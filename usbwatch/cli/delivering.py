"""A report in one of its forms, written to a file or to standard output."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from usbwatch.show.report.value import Report

__all__ = ["FORMS", "deliver"]

FORMS = ("html", "text", "json", "csv")


def deliver(made: Report, form: str, output: str | None, picture: str | None, *, force: bool) -> None:
    """Write the report, and the drawing alone where that is asked for. Raises ``UnwritableOutput``."""
    from usbwatch.cli.screen import say, write
    from usbwatch.cli.writing import report_name, write_file
    from usbwatch.profile import shown_path

    if output == "-" or (output is None and form == "text"):
        write(_coloured(made) if form == "text" and _is_terminal() else _RENDERERS[form](made))
    else:
        path = output or report_name(f"{made.label} {made.title}", made.made_at, form)
        text = _RENDERERS[form](made)
        write_file(path, text, force=force)
        private = "identifiers are replaced" if made.redacted else "serial numbers and names are in it"
        say(f"usbwatch: {shown_path(path)} is written; {private}{_seal(text, form)}")
    if picture is not None:
        write_file(picture, _picture(made), force=force)


def _seal(text: str, form: str) -> str:
    """The seal, for the maker to tell by another way; a table has none."""
    from usbwatch.show.report.verifying import verified

    return "" if form == "csv" else f"; its seal is {verified(text.encode(), form).seal}"


def _is_terminal() -> bool:
    return sys.stdout is not None and sys.stdout.isatty()


def _html(made: Report) -> str:
    from usbwatch.show.report.html import report_html

    return report_html(made)


def _picture(made: Report) -> str:
    from usbwatch.show.report.picture import picture

    return picture(made)


def _coloured(made: Report) -> str:
    """For a person who reads it now; nothing that could be verified later."""
    from usbwatch.cli.screen import page_width, screen
    from usbwatch.show import coloured, plain
    from usbwatch.show.report.page import report_page

    its = screen(sys.stdout, os.environ)
    return (coloured if its.colours else plain)(
        report_page(made, page_width()), page_width(), ascii_only=its.ascii_only
    )


def _text(made: Report) -> str:
    """Plain, so that the seal is of what any reader gets."""
    from usbwatch.cli.screen import page_width, screen
    from usbwatch.show import plain
    from usbwatch.show.report.page import report_page
    from usbwatch.show.report.sealing import sealed

    ascii_only = screen(sys.stdout, os.environ).ascii_only
    return sealed(plain(report_page(made, page_width()), page_width(), ascii_only=ascii_only), "text")


def _json(made: Report) -> str:
    from usbwatch.show import json_text
    from usbwatch.show.report.document import report_document

    return json_text(report_document(made))


def _csv(made: Report) -> str:
    from usbwatch.show.report.table import report_table

    return report_table(made)


_RENDERERS: dict[str, Callable[[Report], str]] = {"html": _html, "text": _text, "json": _json, "csv": _csv}
