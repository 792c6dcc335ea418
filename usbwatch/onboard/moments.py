"""How long after the kernel's start things happened on the unit, to be compared with the kernel's own boot."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

__all__ = ["Moments", "since_boot_s", "times_line", "with_moment"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Seconds since the kernel started, its sleep included; None for what has not come yet."""

    started: float
    """The program began."""
    shown: float | None = None
    """The first screen was written."""
    settled: float | None = None
    """No device came any more."""
    captured: float | None = None
    answered: float | None = None
    """The answer was on the screen."""
    saved: float | None = None
    """The answer was on the stick."""


def since_boot_s() -> float:
    """Seconds since the kernel started (CLOCK_BOOTTIME, clock_gettime(2)); by a steady clock where there is no such."""
    return time.clock_gettime(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))


def with_moment(moments: Moments, name: str) -> Moments:
    """The moments with this one, which is now; unless it has come before: they are of the first look."""
    return moments if getattr(moments, name) is not None else replace(moments, **{name: since_boot_s()})


def times_line(moments: Moments) -> str:
    """All that has come, as one line that a program can read, too.

    >>> times_line(Moments(started=3.21, captured=9.8))
    'usbwatch times, seconds since the kernel started: started 3.2, captured 9.8'
    """
    names = ("started", "shown", "settled", "captured", "answered", "saved")
    told = [f"{name} {moment:.1f}" for name in names if (moment := getattr(moments, name)) is not None]
    return f"usbwatch times, seconds since the kernel started: {', '.join(told)}"
