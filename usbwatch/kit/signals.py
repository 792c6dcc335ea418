"""Telling a person at the unit what happens, though its screen may be dark: a countdown, beeps, a blinking screen.

All of it goes to the terminal that the collector was started from, as any
program's words do; no device is written to. BEL (ECMA-48 section 8.3.3) makes
the console or the terminal sound; DECSCNM, private mode 5, shows the whole
screen in reverse video (Linux: console_codes(4)).
"""

from __future__ import annotations

import os
import time
from typing import Callable, Tuple

__all__ = ["DONE", "FAILED", "UNPOSTED", "Signals"]

_BEL = "\a"
_REVERSE, _NORMAL = "\033[?5h", "\033[?5l"

Pattern = Tuple[int, int, float]
"""Beeps in a group, groups, seconds between the beeps of a group."""

DONE: Pattern = (2, 3, 0.5)
"""Two slow beeps, three times."""
FAILED: Pattern = (6, 3, 0.15)
"""Six quick beeps, three times."""
UNPOSTED: Pattern = (1, 5, 0.5)
"""One beep, five times: after "done", where what was saved could not be posted."""

_PAUSE_S = 0.8


class Signals:
    """Says things on standard error; ``wait`` is what sleeps, so that it can be told otherwise.

    ``blinks``: whether a screen may be shown in reverse, for whom it has nothing else to say.
    """

    def __init__(self, write: Callable[[str], None], *, terminal: bool, quiet: bool, blinks: bool = True) -> None:
        self._write = write
        self._shows = terminal and not quiet
        self._quiet = quiet
        self._blinks = blinks and os.environ.get("TERM") not in (None, "", "dumb")
        self.wait: Callable[[float], None] = time.sleep

    def say(self, text: str) -> None:
        """One line of text, unless it was asked to be quiet."""
        if not self._quiet:
            self._write(f"{text}\n")

    def count_down(self, seconds: int) -> None:
        """Wait, and say how long is left; time to take a helper keyboard out."""
        if seconds > 0:
            self.say(f"Capturing in {seconds} s. Take out now what is not part of the unit, but for this stick.")
        for left in range(seconds, 0, -1):
            if self._shows:
                self._write(f"\r{left:4d} s ")
            self.wait(1)
        if self._shows and seconds > 0:
            self._write("\r         \r")

    def sound(self, pattern: Pattern) -> None:
        """Beep and blink in a pattern; nothing where nobody sees a terminal."""
        if not self._shows:
            return
        beeps, groups, gap_s = pattern
        try:
            for _ in range(groups):
                for _ in range(beeps):
                    self._write(_BEL + (_REVERSE if self._blinks else ""))
                    self.wait(gap_s / 2)
                    self._write(_NORMAL if self._blinks else "")
                    self.wait(gap_s / 2)
                self.wait(_PAUSE_S)
        finally:
            self._write(_NORMAL if self._blinks else "")
