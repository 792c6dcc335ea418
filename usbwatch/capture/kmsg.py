r"""The kernel's log: of this machine from ``/dev/kmsg``, of a copied tree from its ``meta/dmesg.txt``.

Documentation/ABI/testing/dev-kmsg: one record a read, ``prefix,sequence,
microseconds,flags;text``; the kernel writes whatever is not printable ASCII as
``\xNN``, so a device's own strings cannot add a line. Reading takes nothing
away from other readers.
"""

from __future__ import annotations

import errno
import os
import re
from typing import List, Optional

from usbwatch.capture.tree import Tree

__all__ = ["LOG_LIMIT", "copied_log", "live_log", "record_as_line"]

LOG_LIMIT = 16 * 1024 * 1024
"""Bytes of a saved log that are read at most."""

_RECORD = re.compile(r"(\d+),\d+,(\d+),[^;]*;([^\n]*)")
_KERNEL_FACILITY = 0


def record_as_line(record: str) -> str:
    """One record as the kernel's console prints it, "" for one that did not come from the kernel.

    >>> record_as_line("3,812,6929480,-;usb 1-4.2: device descriptor read/8, error -71")
    '[    6.929480] usb 1-4.2: device descriptor read/8, error -71'
    """
    shape = _RECORD.match(record)
    if not shape or int(shape.group(1)) >> 3 != _KERNEL_FACILITY:
        return ""
    seconds, microseconds = divmod(int(shape.group(2)), 1_000_000)
    return f"[{seconds:5d}.{microseconds:06d}] {shape.group(3)}"


def live_log(path: str = "/dev/kmsg") -> Optional[str]:
    """The log of this boot as text, None when it may not be read."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError:
        return None
    lines: List[str] = []
    try:
        while True:
            record = _next(handle)
            if record is None:
                break
            line = record_as_line(record)
            if line:
                lines.append(line)
    finally:
        os.close(handle)
    return "".join(line + "\n" for line in lines)


def _next(handle: int) -> Optional[str]:
    """The next record, "" for one that was overwritten meanwhile, None at the end."""
    try:
        data = os.read(handle, 8192)
    except OSError as error:
        return "" if error.errno == errno.EPIPE else None
    return data.decode("ascii", "backslashreplace") if data else None


def copied_log(tree: Tree) -> Optional[str]:
    """The log that a copied tree holds as ``meta/dmesg.txt``, None when it holds none."""
    try:
        return tree.read("meta/dmesg.txt", LOG_LIMIT).decode("utf-8", "backslashreplace")
    except OSError:
        return None
