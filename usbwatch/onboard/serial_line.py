"""The serial line: the same words as on the screen, as plain text, each state once."""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.onboard.handles import Handle
from usbwatch.show.lines import BLANK, Line, Span, line, wrapped
from usbwatch.show.safe import plain_ascii

__all__ = ["WIDTH", "SerialLine"]

WIDTH = 79
"""Columns of a page: a terminal of 80 that wraps at its last column shows no empty lines."""


class SerialLine:
    """A line to a person with a terminal, or to nobody; at 115200 baud, 8 bits, no parity."""

    def __init__(self, path: str) -> None:
        self.handle = Handle(path)
        self.handle.make_raw("B115200")

    def say(self, text: str) -> None:
        """Some lines of our own words, in ASCII."""
        self._write([line(one, hang=2) for one in text.splitlines()])

    def show(self, lines: Sequence[Line]) -> None:
        """A page, between two blank lines."""
        self._write([BLANK, *lines, BLANK])

    def _write(self, lines: Sequence[Line]) -> None:
        plain = [
            Line(spans=tuple(Span(text=plain_ascii(span.text)) for span in one.spans), hang=one.hang) for one in lines
        ]
        rows = [row.text.rstrip() for row in wrapped(plain, WIDTH)]
        self.handle.write("".join(f"{row}\r\n" for row in rows), "ascii")
