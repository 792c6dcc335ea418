"""Text cut to the columns that there are for it."""

from __future__ import annotations

from collections.abc import Iterable

from usbwatch.show.lines import Line, Span, cells
from usbwatch.show.safe import plain_ascii

__all__ = ["fitted", "fitted_line"]


def fitted(text: str, columns: int, cut: str = "…") -> str:
    """``text``, or as much of it as fits into ``columns`` with a sign that it goes on."""
    if cells(text) <= columns:
        return text
    room = columns - cells(cut)
    kept = ""
    for letter in text:
        if cells(kept) + cells(letter) > room:
            break
        kept += letter
    return f"{kept}{cut}" if room >= 0 else cut[: max(columns, 0)]


def fitted_line(whole: Line, columns: int, *, ascii_only: bool = False) -> Line:
    """The line as one of at most ``columns``, in ASCII alone where that is asked."""
    spans = [Span(text=plain_ascii(one.text), style=one.style) for one in whole.spans] if ascii_only else whole.spans
    if cells("".join(span.text for span in spans)) <= columns:
        return Line(spans=tuple(spans), hang=whole.hang)
    return Line(spans=tuple(_cut(spans, columns, "..." if ascii_only else "…")), hang=whole.hang)


def _cut(spans: Iterable[Span], columns: int, cut: str) -> Iterable[Span]:
    left = columns - cells(cut)
    for span in spans:
        if cells(span.text) > left:
            yield Span(text=fitted(span.text, left, "") + cut, style=span.style)
            return
        left -= cells(span.text)
        yield span
