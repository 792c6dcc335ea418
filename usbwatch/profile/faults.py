"""One fault of a profile file, and how faults are put into words.

Every string of a profile is hostile, so a value reaches a message only through
``quoted``, a place only through ``place_text`` and a path only through
``shown_path``. What is long is cut, so that no file can drown its own faults.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import islice

from usbwatch.errors import MORE_FAULTS
from usbwatch.safe import safe

__all__ = [
    "MOST",
    "SEARCHED",
    "Fault",
    "Place",
    "one_line",
    "pairs",
    "place_text",
    "quoted",
    "shown_path",
    "suggestion",
    "word",
]

Place = tuple[str | int, ...]
"""Keys and list positions from the top of the file, as ``("device", "keyboard", "needs", 0)``."""

MOST = 100
"""How many faults of one file are told."""
SEARCHED = 1000
"""How many faults of one kind of check are looked for."""

_LONGEST_QUOTE = 60
_LONGEST_ESCAPES = 2 + 10 * _LONGEST_QUOTE
"""Where each letter of a quote is an escape."""
_LONGEST_MESSAGE = 200
_LONGEST_GUESS = 60
_MOST_CANDIDATES = 500
_BARE = re.compile(r"[A-Za-z0-9_-]{1,60}\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something wrong with a profile file: where, and what."""

    place: Place
    problem: str


def quoted(value: object) -> str:
    r"""``value`` as a message may show it: escaped as by ``repr``, and cut when long.

    >>> quoted("red\x1b[31m")
    "'red\\x1b[31m'"
    """
    if isinstance(value, str):
        text = safe(repr(value[:_LONGEST_QUOTE]), _LONGEST_ESCAPES)
        return text if len(value) <= _LONGEST_QUOTE else f"{text[:-1]}…{text[-1]}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    return repr(value)


def word(value: str) -> str:
    """``value`` as it is when it is a plain word of a profile, else ``quoted``."""
    return value if _BARE.match(value) else quoted(value)


def one_line(text: str) -> str:
    """``text`` of another library's making, without what a terminal would obey, cut when long."""
    return safe(text, _LONGEST_MESSAGE)


def place_text(place: Place) -> str:
    """A place in words, as ``device.keyboard.needs[0]``; "" for the file as a whole."""
    hops = (f"[{hop}]" if isinstance(hop, int) else f".{word(hop)}" for hop in place)
    return "".join(hops).removeprefix(".")


def shown_path(path: str) -> str:
    """A path as a message may show it."""
    return path if safe(path, len(path)) == path else ascii(path)


def suggestion(wrong: object, right: Iterable[str]) -> str:
    """``; did you mean …?`` with the nearest of the ``right`` words, or "" when none is near."""
    from difflib import get_close_matches  # only a faulty file needs it

    if not isinstance(wrong, str) or len(wrong) > _LONGEST_GUESS:
        return ""
    near = get_close_matches(wrong.lower(), islice(right, _MOST_CANDIDATES), n=1)
    return f"; did you mean {word(near[0])}?" if near else ""


def pairs(faults: Iterable[Fault], line_of: Callable[[Place], int]) -> tuple[tuple[str, str], ...]:
    """Faults in the order of the file's lines, each as ``(place, problem)``: ``MOST`` of them, then a last word.

    ``line_of`` gives the line of a place, 0 where it is not known.
    """
    placed = sorted(((line_of(fault.place), fault) for fault in dict.fromkeys(faults)), key=lambda pair: pair[0])
    told = tuple((_with_line(line, place_text(fault.place)), fault.problem) for line, fault in placed[:MOST])
    return told if len(placed) <= MOST else (*told, ("", MORE_FAULTS))


def _with_line(line: int, place: str) -> str:
    return ", ".join(part for part in (f"line {line}" if line else "", place) if part)
