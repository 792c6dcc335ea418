"""Terminals, written to and read from without ever waiting for long: a broken line must not hold up the rest."""

from __future__ import annotations

import contextlib
import os
import select
import threading
import time
from typing import Any

__all__ = ["Handle"]

_PATIENCE_S = 5.0
"""A line that takes nothing for so long has nobody at its other end that could read it."""


class Handle:
    """One terminal by its path; ``number`` is its descriptor, None where it cannot be had, or no more."""

    def __init__(self, path: str) -> None:
        self.number: int | None = None
        self._before: list[Any] | None = None
        self._lock = threading.Lock()
        with contextlib.suppress(OSError):
            self.number = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC)

    def make_raw(self, speed: str = "") -> None:
        """Letter by letter, without echo, and without a key that means anything to the system; ``speed`` as B115200."""
        import termios

        if self.number is None:
            return
        try:
            now = termios.tcgetattr(self.number)
        except termios.error:  # as of a serial port that is in the table and not in the unit
            self.close()
            return
        self._before = termios.tcgetattr(self.number)
        now[0] &= ~(termios.IXON | termios.IXOFF | termios.ISTRIP)
        now[1] &= ~termios.OPOST
        now[3] &= ~(termios.ICANON | termios.ECHO | termios.ISIG | termios.IEXTEN)
        now[6][termios.VMIN], now[6][termios.VTIME] = 1, 0  # else "nothing typed" would read like a line that ended
        if speed:
            now[2] |= termios.CLOCAL | termios.CREAD
            now[4] = now[5] = getattr(termios, speed)
        with contextlib.suppress(termios.error):
            termios.tcsetattr(self.number, termios.TCSANOW, now)

    def size(self) -> tuple[int, int] | None:
        """Columns and rows, None where the terminal does not tell."""
        if self.number is None:
            return None
        try:
            columns, rows = os.get_terminal_size(self.number)
        except OSError:
            return None
        return (columns, rows) if columns and rows else None

    def write(self, text: str, encoding: str = "utf-8") -> None:
        """Write all of it, or what the line takes; one that takes nothing any more is let go."""
        with self._lock:
            self._write(memoryview(text.encode(encoding, "backslashreplace")))

    def _write(self, left: memoryview) -> None:
        until = time.monotonic() + _PATIENCE_S
        while left and self.number is not None:
            try:
                written = os.write(self.number, left)
            except BlockingIOError:
                written = 0
            except OSError:
                self.close()
                return
            if written:
                left, until = left[written:], time.monotonic() + _PATIENCE_S
                continue
            if time.monotonic() > until:
                return
            select.select([], [self.number], [], 0.2)

    def read(self) -> bytes:
        """What was typed, b"" for nothing."""
        if self.number is None:
            return b""
        try:
            content = os.read(self.number, 4096)
        except BlockingIOError:
            return b""
        except OSError:
            content = b""
        if not content:
            self.close()
        return content

    def close(self) -> None:
        """Let it go, as it was."""
        import termios

        if self.number is None:
            return
        if self._before is not None:
            with contextlib.suppress(termios.error, OSError):
                termios.tcsetattr(self.number, termios.TCSANOW, self._before)
        with contextlib.suppress(OSError):
            os.close(self.number)
        self.number = None
