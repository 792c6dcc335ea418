r"""Records as ``/dev/kmsg`` gives them (Documentation/ABI/testing/dev-kmsg).

``prefix,sequence,microseconds,flags[,more];text``, then lines that begin with
a space and hold ``KEY=value``. The kernel writes whatever is not printable
ASCII, and the backslash, as ``\xNN``: a device's strings cannot add a line.
"""

from __future__ import annotations

import re
from typing import Dict, List, Match, Optional

from usbwatch.capture.log.records import Record

__all__ = ["kmsg_records"]

_RECORD = re.compile(r"(\d{1,5}),(\d{1,15}),(\d{1,15}),[^;]{0,64};(.*)\Z", re.DOTALL)
_KEY = re.compile(r" ([A-Z_]{1,32})=(.*)\Z", re.DOTALL)
_BACKSLASH = "\\x5c"


def kmsg_records(text: str) -> Optional[List[Record]]:
    """The kernel's own records, None when any line of ``text`` is neither a record nor a key of one."""
    if not text.lstrip("\n")[:1].isdigit():
        return None
    found: List[Record] = []
    head: Optional[Match[str]] = None
    keys: Dict[str, str] = {}
    lines = text.split("\n")
    for number, line in enumerate(lines):
        if not line:
            continue
        shape = _RECORD.match(line)
        if shape:
            _add(found, head, keys)
            head, keys = shape, {}
            continue
        key = _KEY.match(line)
        if key and head:
            keys[key.group(1)] = key.group(2)
        elif number < len(lines) - 1:  # the last line may be cut off
            return None
    _add(found, head, keys)
    return found if head else None


def _add(found: List[Record], head: Optional[Match[str]], keys: Dict[str, str]) -> None:
    """The record that ``head`` begins; of one that a program wrote (facility not 0) only that it was there."""
    if not head:
        return
    of_a_program = int(head.group(1)) >> 3 > 0
    found.append(
        Record(
            text="" if of_a_program else head.group(4).replace(_BACKSLASH, "\\"),
            stamp_us=int(head.group(3)),
            level=int(head.group(1)) & 7,
            subsystem=keys.get("SUBSYSTEM", ""),
            device=keys.get("DEVICE", ""),
            sequence=int(head.group(2)),
            trusted=True,
        )
    )
