r"""Strings from a unit or a file, made fit for a terminal: the one rule for all rooms.

What a device calls itself may hold anything: escape sequences that clear the
screen, line feeds that fake a line of our own, marks that turn the reading
order round, a hundred kilobytes of nothing. Every such string goes through
``safe`` before it is shown. What it takes out stays visible as an escape
(``\x1b``), so that a strange name is seen to be strange.
"""

from __future__ import annotations

import unicodedata

__all__ = ["LONGEST", "escaped", "safe", "typed"]

LONGEST = 240
"""Characters of one foreign string that are shown unless the caller says otherwise."""

_CUT = "…"
_STACKED = 2
"""Combining marks that one letter may carry; a taller stack would write over other lines."""

_INVISIBLE = (
    (0x034F, 0x034F),
    (0x115F, 0x1160),
    (0x17B4, 0x17B5),
    (0x180B, 0x180F),
    (0x2800, 0x2800),
    (0x3164, 0x3164),
    (0xFE00, 0xFE0F),
    (0xFFA0, 0xFFA0),
    (0xE0100, 0xE01EF),
)
"""Characters that Python calls printable and that show nothing.

All but the blank Braille cell U+2800 have the property Default_Ignorable_Code_Point
in the Unicode Character Database (DerivedCoreProperties.txt); the list is from memory.
"""


def safe(text: str, limit: int = LONGEST) -> str:
    r"""``text`` on one line, with nothing in it that a terminal would obey, at most ``limit`` characters long.

    Control, format and bidirectional characters, line breaks, lone surrogates
    and all that is invisible become ``\x1b``, ``\u202e`` or ``\U000e0001``. A
    longer text ends in ``…``, and no escape is ever cut in two. A text that is
    safe stays as it is.

    >>> safe("Larch\x1b[2J Keyboard")
    'Larch\\x1b[2J Keyboard'
    """
    if len(text) <= limit and text.isascii() and text.isprintable():
        return text  # nearly all
    pieces: list[str] = []
    length = stacked = 0
    for letter in text[: limit + 1]:
        stacked = stacked + 1 if _combines(letter) else 0
        piece = letter if _shows(letter) and stacked <= _STACKED and (pieces or not stacked) else escaped(letter)
        pieces.append(piece)
        length += len(piece)
    return "".join(pieces) if length <= limit else _cut(pieces, limit)


def typed(text: str) -> str:
    """A label or file name as it is typed in a POSIX shell, with quotes where it needs them.

    >>> typed("LB-0007"), typed("LB 7")
    ('LB-0007', "'LB 7'")
    """
    import shlex

    return shlex.quote(safe(text))


def _cut(pieces: list[str], limit: int) -> str:
    kept: list[str] = []
    room = limit - len(_CUT)
    for piece in pieces:
        room -= len(piece)
        if room < 0:
            break
        kept.append(piece)
    return "".join(kept) + _CUT


def _shows(letter: str) -> bool:
    if letter.isascii():
        return letter.isprintable()
    return letter.isprintable() and not any(first <= ord(letter) <= last for first, last in _INVISIBLE)


def _combines(letter: str) -> bool:
    return not letter.isascii() and unicodedata.category(letter) in ("Mn", "Me")


def escaped(letter: str) -> str:
    r"""One character as an escape: ``\x1b``, ``\u202e`` or ``\U000e0001``."""
    point = ord(letter)
    if point <= 0xFF:  # noqa: PLR2004 - two hex digits
        return f"\\x{point:02x}"
    return f"\\u{point:04x}" if point <= 0xFFFF else f"\\U{point:08x}"  # noqa: PLR2004 - four hex digits
