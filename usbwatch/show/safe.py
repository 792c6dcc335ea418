"""What a terminal shows of a text: foreign strings made safe, and our own signs where only ASCII is shown."""

from __future__ import annotations

from usbwatch.safe import LONGEST, escaped, safe

__all__ = ["LONGEST", "plain_ascii", "safe"]

_ASCII = str.maketrans(
    {
        "✓": "+",
        "✗": "X",
        "≠": "#",
        "→": ">",
        "•": "*",
        "·": "-",
        "┄": "-",
        "━": "=",
        "─": "-",
        "│": "|",
        "├": "+",
        "└": "+",
        "┐": "+",
        "┴": "+",
        "“": '"',
        "”": '"',
        "€": "EUR",
        "…": "...",
    }
)
"""Our own signs, and what stands for each where only ASCII can be shown."""


def plain_ascii(text: str) -> str:
    """``text`` in ASCII: our own signs by their stand-ins, every other character as an escape."""
    if text.isascii():
        return text
    return "".join(letter if letter.isascii() else escaped(letter) for letter in text.translate(_ASCII))
