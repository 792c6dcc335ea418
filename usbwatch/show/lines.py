"""What every view returns: lines of styled text, and how they are fitted to a width.

A view knows words and where they stand, not colours or terminals. Two writers
(``usbwatch.show.writers``) turn its lines into text.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum

__all__ = ["BLANK", "Line", "Span", "Style", "cells", "line", "rule", "spread", "wrapped"]


class Style(Enum):
    """What a piece of text is for; a writer decides how that looks."""

    PLAIN = "plain"
    STRONG = "strong"
    FAINT = "faint"
    HEADING = "heading"
    FINE = "fine"
    WRONG = "wrong"
    UNSEEN = "unseen"
    CAUTION = "caution"
    STAMP_FINE = "stamp, fine"
    STAMP_WRONG = "stamp, wrong"
    STAMP_UNSEEN = "stamp, unseen"


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A piece of text in one style."""

    text: str
    style: Style = Style.PLAIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line as the view means it; on a narrow page it runs over several."""

    spans: tuple[Span, ...] = ()
    hang: int = 0
    """Columns that the second and later lines are set in by."""

    @property
    def text(self) -> str:
        """The words without their styles."""
        return "".join(span.text for span in self.spans)


BLANK = Line()


def line(*pieces: str | tuple[str, Style], hang: int = 0) -> Line:
    """A line from plain strings and ``(text, style)`` pairs."""
    spans = (Span(text=piece) if isinstance(piece, str) else Span(text=piece[0], style=piece[1]) for piece in pieces)
    return Line(spans=tuple(span for span in spans if span.text), hang=hang)


def cells(text: str) -> int:
    """Columns that ``text`` takes on a terminal (East Asian wide letters take two)."""
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def rule(sign: str, width: int, style: Style = Style.FAINT) -> Line:
    """A line of ``width`` equal signs."""
    return line((sign * width, style))


def spread(left: Line, right: str, width: int, style: Style = Style.PLAIN) -> list[Line]:
    """``left`` with ``right`` at the page's right edge, or under it where both do not fit."""
    if not right:
        return [left]
    gap = width - cells(left.text) - cells(right)
    if gap < 2:  # noqa: PLR2004 - closer they would read as one
        return [left, line(" " * left.hang, (right, style), hang=left.hang)]
    return [Line(spans=(*left.spans, Span(text=" " * gap), Span(text=right, style=style)), hang=left.hang)]


_Letter = tuple[str, Style, bool]
"""A letter, its style, and whether a line is best not broken at it."""

_HELD = re.compile(r"(?<![,;:.!? ]) (?=[(<]?\d[\d.]*%?[,;.:)]*(?: |$))|(?<=\d) (?=(?:min|mAh|UTC|V)\b)")
"""The spaces between a word and the figure that belongs to it, and between a figure and its unit."""


def wrapped(lines: Iterable[Line], width: int) -> Iterator[Line]:
    """The same lines, none wider than ``width`` columns; broken at spaces, or within a word that is too long.

    A figure stays with the word before it and with its unit, where that can be.
    """
    for whole in lines:
        yield from _wrap(whole, width) if cells(whole.text) > width else (whole,)


def _wrap(whole: Line, width: int) -> Iterator[Line]:
    letters = _letters(whole)
    hang = min(whole.hang, width // 2)
    set_in = 0
    while letters:
        end = _end_of_line(letters, width - set_in)
        yield _joined(letters[:end], set_in)
        while end < len(letters) and letters[end][0] == " ":
            end += 1
        letters, set_in = letters[end:], hang


def _letters(whole: Line) -> list[_Letter]:
    held = {found.start() for found in _HELD.finditer(whole.text)}
    styled = ((letter, span.style) for span in whole.spans for letter in span.text)
    return [(letter, style, at in held) for at, (letter, style) in enumerate(styled)]


def _end_of_line(letters: list[_Letter], room: int) -> int:
    """How many letters fit into ``room`` columns without breaking a word, if that can be."""
    used = space = second_best = 0
    worded = False
    for at, (letter, _, held) in enumerate(letters):
        if letter == " " and worded:
            space, second_best = (space, at) if held else (at, second_best)
        worded = worded or letter != " "
        used += cells(letter)
        if used > room:
            return space or second_best or max(at, 1)
    return len(letters)


def _joined(letters: list[_Letter], set_in: int) -> Line:
    """The letters as a line that is set in; in the first letter's style, lest a band of colour has a hole there."""
    run, style = " " * set_in, letters[0][1]
    spans: list[Span] = []
    for letter, its, _ in letters:
        if its is not style and run:
            spans.append(Span(text=run, style=style))
            run = ""
        run, style = run + letter, its
    return Line(spans=(*spans, Span(text=run, style=style)))
