"""Lines that a person types on a terminal while the unit is watched."""

from __future__ import annotations

import os
from typing import List

__all__ = ["Words"]

_LONGEST = 400
"""Characters of one line that are kept."""


_BACK = (0x08, 0x7F)
"""What the key for a step back sends, where the terminal hands on each letter as it is typed."""


class Words:
    """Whole lines from the descriptor ``handle``, which stays its owner's."""

    def __init__(self, handle: int) -> None:
        self._handle = handle
        self._begun = b""
        self.ended = False
        """Whether nothing more can come."""

    def fileno(self) -> int:
        """The descriptor to poll."""
        return self._handle

    def read(self) -> List[str]:
        """The lines that came, each without its end; an empty one for Enter alone."""
        try:
            data = os.read(self._handle, 4096)
        except OSError:
            data = b""
        self.ended = not data
        *lines, rest = (self._begun + data).split(b"\n")
        self._begun = rest[-4 * _LONGEST :]
        return [_text(line) for line in lines]


def _text(line: bytes) -> str:
    letters: List[str] = []
    for letter in line.decode("utf-8", "backslashreplace"):
        if ord(letter) not in _BACK:
            letters.append(letter)
        elif letters:
            letters.pop()
    return "".join(letters).strip()[:_LONGEST]
