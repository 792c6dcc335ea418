"""How a session that goes on until it is ended is ended: by Ctrl-C, by a signal, or because its terminal is gone."""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Iterator
from types import FrameType

__all__ = ["Ending", "until_ended"]

_TERMINATING = ("SIGTERM", "SIGHUP", "SIGQUIT", "SIGUSR1", "SIGUSR2")
"""What ends a program that does not handle it (signal(7)), and would leave a terminal without echo."""


class Ending:
    """Whether the session is to end; ``wake`` is a descriptor that can be read from as soon as it is."""

    def __init__(self, wake: int) -> None:
        self.wake = wake
        self.wanted = False

    def want(self, number: int, _frame: FrameType | None) -> None:
        """End the session; a second Ctrl-C while it ends is an interrupt as everywhere."""
        self.wanted = True
        if number == signal.SIGINT:
            signal.signal(signal.SIGINT, signal.default_int_handler)

    def rest(self) -> None:
        """Take what made ``wake`` readable off it."""
        with contextlib.suppress(BlockingIOError):
            os.read(self.wake, 512)


@contextlib.contextmanager
def until_ended() -> Iterator[Ending]:
    """Signals that end the session, caught while the context lasts.

    One that was told to be ignored stays so, but for Ctrl-C: a shell ignores
    it for what runs in the background, where it is the one way to a good end.
    """
    reading, writing = os.pipe()
    for end in (reading, writing):
        os.set_blocking(end, False)
    ending = Ending(reading)
    before_wakeup = signal.set_wakeup_fd(writing, warn_on_full_buffer=False)
    before = {signal.SIGINT: signal.signal(signal.SIGINT, ending.want)}
    for name in _TERMINATING:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            before[number] = signal.signal(number, ending.want)
    try:
        yield ending
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(before_wakeup)
        os.close(reading)
        os.close(writing)
