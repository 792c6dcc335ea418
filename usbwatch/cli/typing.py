"""What a person types while a session goes on, taken as it comes: nothing waits for it, and nothing is lost of it."""

from __future__ import annotations

import os
import select
import sys

from usbwatch.cli.typed_line import Typed, typed_on

__all__ = ["Keys", "keys_of_the_terminal"]


class Keys:
    """The keys of a terminal; ``handle`` is its descriptor, None where nobody can type."""

    def __init__(self, handle: int | None) -> None:
        self.handle = handle
        self._typed = Typed()

    @property
    def text(self) -> str:
        """The line so far."""
        return self._typed.text

    def lines(self) -> tuple[str, ...]:
        """The lines that were ended since the last time, "" for Enter alone; ``handle`` is None once it is closed."""
        if self.handle is None or not select.select([self.handle], [], [], 0)[0]:
            return ()
        try:
            content = os.read(self.handle, 4096)
        except OSError:
            content = b""
        if not content:
            self.handle = None
            return ()
        self._typed, lines = typed_on(self._typed, content)
        return lines


def keys_of_the_terminal() -> Keys:
    """The keys of standard input, where that is a terminal which we may read.

    In the background a read of it would stop us (POSIX, SIGTTIN).
    """
    if sys.stdin is None or not sys.stdin.isatty():
        return Keys(None)
    handle = sys.stdin.fileno()
    try:
        ours = os.tcgetpgrp(handle) == os.getpgrp()
    except OSError:
        ours = False
    return Keys(handle if ours else None)
