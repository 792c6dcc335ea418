"""On which line of a TOML text each key and each list item stands.

``tomllib`` gives values without places. This reads only as much of the
grammar as that takes (TOML 1.0: keys, table headers, strings, comments,
arrays, inline tables), and only of a text that ``tomllib`` has accepted.
"""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Iterator

from usbwatch.profile.faults import Place

__all__ = ["Lines"]

_DEEPEST = 8
"""Deeper places are no profile's; a hostile key can have thousands of parts."""

_PIECE = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|\#[^\n]*"
    r"|[\[\]{},=\n]"
    r"|[^\s\[\]{},=\#\"']+"
    r"|[^\S\n]+"
    r"|.",
    re.DOTALL,
)


class Lines:
    """The lines of one TOML text, found when first asked for."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._known: dict[Place, int] | None = None

    def of(self, place: Place) -> int:
        """Line (from 1) of ``place``, else of the nearest table around it; 0 when nothing of it is in the text."""
        if self._known is None:
            self._known = _Scan(self._text).places()
        while place and place not in self._known:
            place = place[:-1]
        return self._known.get(place, 0)


class _Scan:
    """One pass over the pieces of a text."""

    def __init__(self, text: str) -> None:
        self._pieces = self._numbered(text)
        self._known: dict[Place, int] = {}
        self._header: Place = ()

    @staticmethod
    def _numbered(text: str) -> Iterator[tuple[str, int]]:
        """Pieces that matter, each with the line it begins on."""
        line = 1
        for match in _PIECE.finditer(text):
            piece = match.group()
            if piece == "\n" or not (piece.isspace() or piece.startswith("#")):
                yield piece, line
            line += piece.count("\n")

    def places(self) -> dict[Place, int]:
        """Line by place, for the whole text."""
        for piece, line in self._pieces:
            if piece == "[":
                self._read_header(line)
            elif piece != "\n":
                self._read_value(self._read_key(self._header, piece, line), end="\n")
        return self._known

    def _note(self, place: Place, line: int) -> None:
        for length in range(1, min(len(place), _DEEPEST) + 1):
            self._known.setdefault(place[:length], line)

    def _read_header(self, line: int) -> None:
        """``[a.b]`` or ``[[a.b]]`` after its first bracket: what follows belongs to that table."""
        parts = itertools.takewhile(lambda piece: piece != "\n", (piece for piece, _ in self._pieces))
        self._header = _key("".join(parts).strip("[]"))
        self._note(self._header, line)

    def _read_key(self, table: Place, first: str, line: int) -> Place:
        """The place of a key that begins with the piece ``first``, read up to its equals sign."""
        rest = itertools.takewhile(lambda piece: piece != "=", (piece for piece, _ in self._pieces))
        place = (*table, *_key(first + "".join(rest)))
        self._note(place, line)
        return place

    def _read_value(self, place: Place, end: str) -> str:
        """A value, read up to a piece of ``end``, which comes back; a date and its time are two pieces."""
        for piece, _ in self._pieces:
            if piece in end:
                return piece
            self._read_brackets(place, piece)
        return ""

    def _read_brackets(self, place: Place, piece: str) -> None:
        if piece == "[":
            self._read_array(place)
        elif piece == "{":
            self._read_inline_table(place)

    def _read_array(self, place: Place) -> None:
        index = 0
        for piece, line in self._pieces:
            if piece == "]":
                return
            if piece == ",":
                index += 1
            elif piece != "\n":
                self._note((*place, index), line)
                self._read_brackets((*place, index), piece)

    def _read_inline_table(self, place: Place) -> None:
        for piece, line in self._pieces:
            if piece == "}":
                return
            if piece in ",\n":
                continue
            if self._read_value(self._read_key(place, piece, line), end=",}") == "}":
                return


def _key(text: str) -> Place:
    """The parts of a dotted key, quoted ones unquoted."""
    if '"' not in text and "'" not in text:
        return tuple(text.split("."))
    parts: list[str] = []
    table: object = tomllib.loads(f"{text} = 0")
    while isinstance(table, dict):
        part, table = next(iter(table.items()))
        parts.append(part)
    return tuple(parts)
