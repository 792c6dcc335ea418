r"""The kernel's log: of this machine from ``/dev/kmsg``, of a copied tree from its ``meta/dmesg.txt``.

Documentation/ABI/testing/dev-kmsg: one record a read, ``prefix,sequence,
microseconds,flags;text``; the kernel writes whatever is not printable ASCII as
``\xNN``, so a device's own strings cannot add a line. Reading takes nothing
away from other readers.
"""

from __future__ import annotations

import errno
import os
from typing import List, Optional

from usbwatch.capture.opening import READ_ONLY
from usbwatch.capture.tree import Tree

__all__ = ["LOG_LIMIT", "copied_log", "live_log"]

LOG_LIMIT = 16 * 1024 * 1024
"""Bytes of a saved log that are read at most."""


def live_log(path: str = "/dev/kmsg") -> Optional[str]:
    """The records of this boot as the kernel gives them, None when they may not be read.

    They are handed on as they are: so the reader knows that no device could
    have added a line, and sees by their numbers whether any are lost.
    """
    try:
        handle = os.open(path, READ_ONLY)
    except OSError:
        return None
    records: List[str] = []
    size = 0
    try:
        while size < LOG_LIMIT:
            record = _next(handle)
            if record is None:
                break
            records.append(record)
            size += len(record)
    finally:
        os.close(handle)
    return "".join(records)


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
