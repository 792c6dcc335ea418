"""Waiting until the kernel has told of nothing new for a while: drivers are still being loaded when this starts."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

__all__ = ["settle"]

_QUIET_S = 1.5
_LONGEST_S = 20.0
_STEP_S = 0.1
_SEQUENCE = Path("/sys/kernel/uevent_seqnum")
"""Number of the last event (Documentation/ABI/testing/sysfs-kernel-uevent_seqnum)."""


def settle(wait: Callable[[float], None] = time.sleep, sequence: Path = _SEQUENCE) -> None:
    """Come back when no event has come for a while, or when it has taken too long.

    A part that comes and goes without end must not keep the answer away.
    """
    quiet, last = 0.0, ""
    for _ in range(int(_LONGEST_S / _STEP_S)):
        try:
            now = sequence.read_text(encoding="ascii").strip()
        except (OSError, ValueError):
            return
        quiet = quiet + _STEP_S if now == last else 0.0
        if quiet >= _QUIET_S:
            return
        last = now
        wait(_STEP_S)
