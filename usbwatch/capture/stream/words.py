"""Lines that a person types on a terminal while the unit is watched."""

from __future__ import annotations

import os
from typing import List

__all__ = ["Words"]

_LONGEST = 400
"""Characters of one line that are kept."""


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
        self._begun = rest[-_LONGEST:]
        return [line.decode("utf-8", "backslashreplace").strip()[:_LONGEST] for line in lines]
