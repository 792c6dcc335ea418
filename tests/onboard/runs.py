"""The program as the stick starts it, on a screen and a serial line that the test looks at, on a copied tree."""

from __future__ import annotations

import contextlib
import fcntl
import os
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pyte

__all__ = ["Machine", "switched_on"]

_PATIENCE_S = 60.0


class Machine:
    """One run: what stands on its screen, what came over its line, and keys for both."""

    def __init__(self, command: Sequence[str], size: tuple[int, int], environment: dict[str, str]) -> None:
        self._screen_end, screen = os.openpty()
        self._serial_end, serial = os.openpty()
        fcntl.ioctl(screen, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        self._shown = pyte.Screen(*size)
        self._stream = pyte.ByteStream(self._shown)
        self.raw = b""
        self.said = ""
        lines = ("--screen", os.ttyname(screen), "--serial", os.ttyname(serial))
        self.process = subprocess.Popen(
            [*command, *lines], env={**os.environ, **environment, "TERM": "linux"}, stdin=subprocess.DEVNULL
        )
        self._theirs = (screen, serial)

    @property
    def page(self) -> str:
        """The screen as a person sees it, without regard to where lines were broken."""
        return " ".join(" ".join(self._shown.display).split())

    @property
    def told(self) -> str:
        """All that came over the serial line, the same way."""
        return " ".join(self.said.split())

    def look(self) -> None:
        """Take what has come."""
        while ready := select.select([self._screen_end, self._serial_end], [], [], 0.05)[0]:
            for end in ready:
                try:
                    content = os.read(end, 65536)
                except OSError:  # both ends of it are closed
                    return
                if end == self._screen_end:
                    self.raw += content
                    self._stream.feed(content)
                else:
                    self.said += content.decode("ascii")

    def until(self, condition: Callable[[], bool], what: str) -> None:
        """Look until something is so."""
        end = time.monotonic() + _PATIENCE_S
        while not condition():
            self.look()
            assert time.monotonic() < end, f"{what} did not come:\n{self.page}\n---\n{self.said}"

    def until_shown(self, text: str) -> None:
        """Look until the screen shows this."""
        self.until(lambda: text in self.page, text)

    def until_told(self, text: str) -> None:
        """Look until the line has told this."""
        self.until(lambda: text in self.told, text)

    def press(self, keys: str) -> None:
        """Press keys on the serial line."""
        os.write(self._serial_end, keys.encode())

    def press_on_console(self, keys: str) -> None:
        """Press keys that come by way of the screen."""
        os.write(self._screen_end, keys.encode())

    def ended(self) -> int:
        """The exit code, once the program has ended."""
        self.until(lambda: self.process.poll() is not None, "the end")
        self.look()
        return int(self.process.returncode)

    def switch_off(self) -> int:
        """The exit code after power off was asked for by both keys."""
        self.press("o")
        self.until_shown("Switch the unit off?")
        self.press("y")
        return self.ended()

    def close(self) -> None:
        """End it if it has not ended."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        for end in (self._screen_end, self._serial_end, *self._theirs):
            with contextlib.suppress(OSError):
                os.close(end)


@contextlib.contextmanager
def switched_on(
    tree: Path,
    folder: Path,
    *more: str,
    size: tuple[int, int] = (120, 33),
    before: Sequence[str] = (),
    environment: dict[str, str] | None = None,
) -> Iterator[Machine]:
    """The program at work; ``before`` stands before its command, as strace does."""
    command = [*before, sys.executable, "-m", "usbwatch.onboard", "--root", str(tree), "--folder", str(folder)]
    machine = Machine([*command, "--quiet", *more], size, environment or {})
    try:
        yield machine
    finally:
        machine.close()
