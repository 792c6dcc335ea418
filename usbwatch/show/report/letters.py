"""How much room a text takes where no font can be asked, and how it is broken into lines that fit.

The widths are upper bounds for the sans-serif faces that systems bring along:
those of the widest of them, DejaVu Sans, rounded up (measured), in shares of
the type size. A line that is kept within its room here stays within it there.
"""

from __future__ import annotations

import unicodedata

from usbwatch.safe import escaped

__all__ = ["fitted", "settable", "text_width"]

_CLASSES = (
    ("iIjl|.,:;'!", 0.42),
    ("frt()[]/\\- ", 0.47),
    ("mwMW@%", 1.02),
    ("ABCDEGHKNOPQRSTUVXYZ&#+<=>~_^", 0.86),
)
_ASCII = {letter: share for letters, share in _CLASSES for letter in letters}
_PLAIN, _LATIN, _OTHER, _LIGATURE, _SIGN = 0.66, 1.08, 1.25, 12.0, 5.0
_BOLD, _WIDEST = 1.15, 2.0
_CUT = "…"
_DIGRAPHS, _DOUBLE = "\u01c4\u01c5\u01c6\u01ca\u01cb\u01f1\u01f2\u01f3\u01f6", 1.45
_LATER = 0x250
"""Past Latin with its extensions."""


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """An upper bound for the width of ``text`` set in ``size``, in the same unit."""
    return sum(map(_share, text)) * size * (_BOLD if bold else 1.0)


def _share(letter: str) -> float:
    if letter.isascii():
        return _ASCII.get(letter, _PLAIN)
    if unicodedata.category(letter) == "Mn":
        return 0.0
    point = ord(letter)
    if 0xFDF0 <= point <= 0xFDFF:  # noqa: PLR2004 - Arabic ligatures of whole phrases
        return _LIGATURE
    if 0x12000 <= point <= 0x1254F:  # noqa: PLR2004 - cuneiform
        return _SIGN
    if point < _LATER:
        return _DOUBLE if letter in _DIGRAPHS else _LATIN
    return _OTHER


def settable(text: str) -> str:
    """``text`` with single signs that are wider than two letters as escapes: they would reach into what is beside."""
    return "".join(escaped(letter) if _share(letter) > _WIDEST else letter for letter in text)


def fitted(text: str, room: float, size: float, *, lines: int = 1, bold: bool = False) -> tuple[str, ...]:
    """``text`` in at most ``lines`` lines of at most ``room``; what does not fit is cut, and ends in "…"."""
    found: list[str] = []
    rest = settable(text)
    while rest and len(found) < lines:
        last = len(found) == lines - 1
        taken, rest = _line(rest, room, size, bold=bold, last=last)
        found.append(taken)
    return tuple(found) or ("",)


def _line(text: str, room: float, size: float, *, bold: bool, last: bool) -> tuple[str, str]:
    """The next line and what is left of the text."""
    if text_width(text, size, bold=bold) <= room:
        return text, ""
    end = _end(text, room, size, bold=bold)
    if last:
        return text[: _end(text, room - text_width(_CUT, size, bold=bold), size, bold=bold)].rstrip() + _CUT, ""
    gap = text.rfind(" ", 1, end + 1)
    end = gap if gap > 0 else max(1, end)
    return text[:end].rstrip(), text[end:].lstrip()


def _end(text: str, room: float, size: float, *, bold: bool) -> int:
    """How many letters fit."""
    taken = 0.0
    for number, letter in enumerate(text):
        taken += text_width(letter, size, bold=bold)
        if taken > room:
            return number
    return len(text)
