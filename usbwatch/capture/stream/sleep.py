"""Whether the machine was suspended meanwhile, by two clocks of the kernel that differ in that alone.

CLOCK_BOOTTIME goes on while the machine is suspended, and CLOCK_MONOTONIC
stands still (clock_gettime(2)).
"""

from __future__ import annotations

import time
from typing import Callable, Optional, Tuple

__all__ = ["SHORTEST_MS", "SleepClock"]

SHORTEST_MS = 100
"""A shorter suspension is none: coming back from one takes longer than that."""

_Clock = Callable[[], int]


def _boot_ns() -> int:
    """Nanoseconds since the machine booted; those of the other clock where there is no such one."""
    clock: Optional[int] = getattr(time, "CLOCK_BOOTTIME", None)
    return time.clock_gettime_ns(clock) if clock is not None else time.monotonic_ns()


class SleepClock:
    """The difference of the two clocks, as it was when asked last. Both give nanoseconds."""

    def __init__(self, monotonic: _Clock = time.monotonic_ns, boot: _Clock = _boot_ns) -> None:
        self._monotonic = monotonic
        self._boot = boot
        self._known_ns = self._ahead_ns()[1]

    def slept_ms(self) -> int:
        """For how long it was suspended since this was asked last, 0 for not at all.

        Whatever holds the program up between the reading of one clock and of the other is no sleep.
        """
        least_ns, most_ns = self._ahead_ns()
        slept_ms = (least_ns - self._known_ns) // 1_000_000
        if slept_ms < SHORTEST_MS:
            self._known_ns = min(self._known_ns, most_ns)
            return 0
        self._known_ns = most_ns
        return slept_ms

    def _ahead_ns(self) -> Tuple[int, int]:
        """By how much the one clock is ahead of the other: at least, and at most."""
        before = self._monotonic()
        boot = self._boot()
        return boot - self._monotonic(), boot - before
