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
        "█": "#",
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

_BECAME = " → "
"""Between two values; ``3% > 2.9%`` would be read as a comparison."""


def plain_ascii(text: str) -> str:
    """``text`` in ASCII: our own signs by their stand-ins, every other character as an escape."""
    if text.isascii():
        return text
    told = text.replace(_BECAME, " -> ").translate(_ASCII)
    return "".join(letter if letter.isascii() else escaped(letter) for letter in told)
