"""Where output goes, how wide it is, and whether it may have colours: decided here and nowhere else.

Results go to standard output, all else to standard error.

* ``NO_COLOR`` (set, not empty; no-color.org) and ``TERM=dumb``: never colours.
* ``FORCE_COLOR`` (set, not empty; force-color.org): colours, also into a pipe.
* else colours on a terminal, plain text elsewhere.
* ``COLUMNS`` gives the width, else the terminal does, else it is 80.
* ASCII alone where the stream's encoding has no more, and with ``LC_ALL=C``.
"""

from __future__ import annotations

import io
import os
import shutil
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from usbwatch.show import Line

__all__ = ["Screen", "asks", "page_width", "rendered", "say", "screen", "show", "write"]

_NARROWEST = 40
_WIDEST = 120
"""Longer lines are hard to read, so a wider terminal keeps its right side free."""

_OUR_SIGNS = "✓✗≠→·┄━…“”"


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """What one stream can show."""

    width: int
    colours: bool
    ascii_only: bool


def screen(stream: TextIO, environ: Mapping[str, str]) -> Screen:
    """What ``stream`` can show, going by itself and the environment."""
    return Screen(
        width=page_width(),
        colours=_has_colours(stream, environ),
        ascii_only=not _carries(stream, _OUR_SIGNS) or _asks_for_ascii(environ),
    )


def page_width() -> int:
    """Columns of a page: what ``COLUMNS`` or the terminal says, within what can be read."""
    return max(_NARROWEST, min(_WIDEST, shutil.get_terminal_size((80, 24)).columns))


def _has_colours(stream: TextIO, environ: Mapping[str, str]) -> bool:
    if environ.get("NO_COLOR") or environ.get("TERM") == "dumb":
        return False
    return bool(environ.get("FORCE_COLOR")) or stream.isatty()


def _carries(stream: TextIO, text: str) -> bool:
    try:
        text.encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _asks_for_ascii(environ: Mapping[str, str]) -> bool:
    """Whether ``LC_ALL`` names the locale that has no letters beyond ASCII; Python writes UTF-8 there (PEP 540).

    With ``LANG=C`` alone Python has changed the locale before we start (PEP 538), as it does where none is named.
    Who tells Python an encoding has been heard already.
    """
    told = environ.get("PYTHONIOENCODING") or environ.get("PYTHONUTF8")
    return not told and environ.get("LC_ALL") in ("C", "POSIX")


def show(lines: Iterable[Line], *, err: bool = False) -> None:
    """Write a view's lines to standard output, or to standard error."""
    write(rendered(lines, err=err), err=err)


def rendered(lines: Iterable[Line], *, err: bool = False) -> str:
    """A view's lines as the text that ``show`` writes."""
    from usbwatch.show import coloured, plain

    its = screen(_stream(err=err), os.environ)
    return (coloured if its.colours else plain)(lines, its.width, ascii_only=its.ascii_only)


def write(text: str, *, err: bool = False) -> None:
    """Write text as it is, but for letters that the stream's encoding does not have: those as escapes.

    Raises ``UnwritableOutput`` (a full disk, …), and ``BrokenPipeError`` when nobody reads on.
    """
    stream = _stream(err=err)
    encoding = stream.encoding or "ascii"
    try:
        stream.write(text.encode(encoding, "backslashreplace").decode(encoding))
        stream.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        from usbwatch.errors import UnwritableOutput

        raise UnwritableOutput("standard output", f"cannot be written ({error.strerror})") from error


def _stream(*, err: bool) -> TextIO:
    """The stream as it is now; one that was closed before we started swallows all."""
    stream = sys.stderr if err else sys.stdout
    return stream if stream is not None else io.StringIO()


def say(text: str) -> None:
    """Write a notice or an error to standard error, made safe line by line; on a terminal no word is broken."""
    from usbwatch.show import plain_ascii, safe

    lines = [safe(line, 2000) for line in text.splitlines()]
    stream = _stream(err=True)
    if screen(stream, os.environ).ascii_only:
        lines = [plain_ascii(line) for line in lines]
    if stream.isatty():
        lines = [part for line in lines for part in _at_words(line)]
    write("".join(f"{line}\n" for line in lines), err=True)


def _at_words(text: str) -> list[str]:
    """A line in pieces that fit on the page; a word (a path, an address) that is longer stays whole."""
    width = page_width()
    if len(text) <= width:
        return [text]
    import textwrap

    return textwrap.wrap(text, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


def asks() -> bool:
    """Whether there is a person to ask: both ends of the talk are a terminal."""
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr))
