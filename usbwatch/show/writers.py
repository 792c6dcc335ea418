"""Two ways to turn a view's lines into text: plain, and with a terminal's colours.

Both give the same words in the same places. Which of them is used, and whether
only ASCII can be shown, is the caller's decision.
"""

from __future__ import annotations

import functools
import io
from collections.abc import Iterable

from usbwatch.show.lines import Line, Span, Style, cells, wrapped
from usbwatch.show.safe import plain_ascii

__all__ = ["coloured", "painted", "plain"]

_LOOKS = {
    Style.PLAIN: "",
    Style.STRONG: "bold",
    Style.FAINT: "dim",
    Style.HEADING: "bold cyan",
    Style.FINE: "green",
    Style.WRONG: "bold red",
    Style.UNSEEN: "bold yellow",
    Style.CAUTION: "yellow",
    Style.STAMP_FINE: "bold black on green",
    Style.STAMP_WRONG: "bold white on red",
    Style.STAMP_UNSEEN: "bold black on yellow",
}
"""The terminal's own sixteen colours, so that its theme stays in force."""

_BANDS = (Style.STAMP_FINE, Style.STAMP_WRONG, Style.STAMP_UNSEEN)
"""Styles whose background runs to the edge of the page."""


def plain(lines: Iterable[Line], width: int, *, ascii_only: bool = False) -> str:
    """The lines as text without any escape sequence, each ended by a line feed, no line wider than ``width``."""
    fitted = wrapped(_lettered(lines, ascii_only=ascii_only), width)
    return "".join(f"{line.text.rstrip()}\n" for line in fitted)


def coloured(lines: Iterable[Line], width: int, *, ascii_only: bool = False) -> str:
    """The same text with the terminal's colours, as SGR sequences (ECMA-48, 8.3.117)."""
    from rich.console import Console
    from rich.text import Text

    page = io.StringIO()
    console = Console(
        file=page, width=width, force_terminal=True, color_system="standard", legacy_windows=False, _environ={}
    )
    for line in wrapped(_lettered(lines, ascii_only=ascii_only), width):
        text = Text.assemble(*((span.text, _LOOKS[span.style]) for span in _to_the_edge(line, width)))
        console.print(text, no_wrap=True, overflow="ignore", crop=False, highlight=False)
    return page.getvalue()


def painted(whole: Line) -> str:
    """One line that fits already, with the terminal's colours and without a line feed; nothing is written after it."""
    return "".join(span.text.join(_codes(span.style)) for span in whole.spans)


@functools.cache
def _codes(style: Style) -> tuple[str, str]:
    """What is written before and after a piece of text in a style."""
    if not _LOOKS[style]:
        return "", ""
    from rich.color import ColorSystem
    from rich.style import Style as Look

    before, _, after = Look.parse(_LOOKS[style]).render("|", color_system=ColorSystem.STANDARD).partition("|")
    return before, after


def _lettered(lines: Iterable[Line], *, ascii_only: bool) -> Iterable[Line]:
    if not ascii_only:
        return lines
    return (
        Line(spans=tuple(Span(text=plain_ascii(span.text), style=span.style) for span in line.spans), hang=line.hang)
        for line in lines
    )


def _to_the_edge(line: Line, width: int) -> tuple[Span, ...]:
    if not line.spans or line.spans[-1].style not in _BANDS:
        return line.spans
    return (*line.spans, Span(text=" " * max(0, width - cells(line.text)), style=line.spans[-1].style))
