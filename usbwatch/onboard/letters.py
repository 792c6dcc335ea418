"""The letters that the unit's own console has: those of code page 437, which its font is drawn for.

The kernel's fonts (``lib/fonts``, such as TER16x32) have 256 glyphs, in the order of that code page. Which letters it
has is taken from Python's own codec (mapping table CP437.TXT of the Unicode Consortium).
"""

from __future__ import annotations

import functools

from usbwatch.safe import escaped
from usbwatch.show.lines import Line, Span

__all__ = ["console_line", "console_text"]

_STAND_INS = {
    "✓": "√",
    "✗": "X",
    "≠": "#",
    "→": ">",
    "•": "·",
    "┄": "─",
    "━": "═",
    "“": '"',
    "”": '"',
    "€": "EUR",
    "…": "...",
}
"""Our own signs that the console's font does not have, and what stands for each."""


@functools.lru_cache(maxsize=1024)
def _on_console(letter: str) -> str:
    if letter in _STAND_INS:
        return _STAND_INS[letter]
    try:
        letter.encode("cp437")
    except UnicodeEncodeError:
        return escaped(letter)
    return letter


def console_text(text: str) -> str:
    """``text`` in letters of which each takes one column of the console; what it does not have becomes an escape."""
    return text if text.isascii() else "".join(map(_on_console, text))


def console_line(whole: Line) -> Line:
    """The same of a line."""
    if whole.text.isascii():
        return whole
    spans = tuple(Span(text=console_text(span.text), style=span.style) for span in whole.spans)
    return Line(spans=spans, hang=whole.hang)
