r"""One line of a kernel log as a value, whatever form it came in.

``trusted`` is the word of the form, not of the line: whether the source
escapes control characters, so that a text which a device chose (a product
name with a line feed in it) can never look like a line of its own.
"""

from __future__ import annotations

import re
from typing import NamedTuple, Optional

__all__ = ["LEVELS", "Record", "shown"]

LEVELS = {"emerg": 0, "alert": 1, "crit": 2, "err": 3, "warn": 4, "notice": 5, "info": 6, "debug": 7}
"""Level names as util-linux prints them, against the kernel's numbers (include/linux/kern_levels.h)."""

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_LONGEST_SHOWN = 400


class Record(NamedTuple):
    """One line of the kernel's log: a named tuple, since a log has thousands of them, and these are made fastest."""

    text: str
    """What the kernel said, without stamp and level."""
    stamp_us: Optional[int] = None
    """Microseconds since the system started (since 1970 in a form with wall-clock times), None without a stamp."""
    level: Optional[int] = None
    """0 (emergency) to 7 (debug), None when the form does not tell."""
    raw: str = ""
    """The line as it was logged, "" when a line has to be made of stamp and text."""
    subsystem: str = ""
    """``SUBSYSTEM=`` of a kmsg record."""
    device: str = ""
    """``DEVICE=`` of a kmsg record: ``c189:5``, ``+usb:1-5``, …"""
    sequence: Optional[int] = None
    """Number of the record since the system started, None when the form does not tell."""
    boot: str = ""
    """Boot id of a journal's entry."""
    trusted: bool = False


def shown(record: Record) -> str:
    r"""The record as the kernel's console prints it, control characters as ``\xNN`` (kernel/printk/printk.c).

    >>> shown(Record(text="usb 1-4.2: device descriptor read/8, error -71", stamp_us=6_929_480))
    '[    6.929480] usb 1-4.2: device descriptor read/8, error -71'
    """
    line = record.raw
    if not line:
        seconds, microseconds = divmod(record.stamp_us or 0, 1_000_000)
        line = record.text if record.stamp_us is None else f"[{seconds:5d}.{microseconds:06d}] {record.text}"
    return _CONTROL.sub(lambda found: f"\\x{ord(found.group()):02x}", line[:_LONGEST_SHOWN])
