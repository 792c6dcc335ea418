"""Whether a file lies on a file system that is lost with the unit's power, as on a live system."""

from __future__ import annotations

import contextlib
import os
import re
from pathlib import Path

__all__ = ["type_of", "whereabouts"]

_SURE = frozenset({"ramfs", "tmpfs"})
_PERHAPS = frozenset({"overlay"})
"""What a live system lays over its read-only image; whether it is kept in memory is not told there."""
_MOUNTS = "/proc/self/mounts"


def whereabouts(path: str) -> str:
    """Where a file is, and that it lies in memory, or may, as one sentence."""
    mounts = ""
    with contextlib.suppress(OSError):
        mounts = Path(_MOUNTS).read_text(encoding="utf-8", errors="surrogateescape")
    whole = str(Path(path).resolve())
    kind = type_of(whole, mounts)
    copy = "copy it to a stick before the unit is shut down"
    if kind in _SURE:
        return f"The record is {whole}, in memory alone ({kind}): {copy}."
    if kind in _PERHAPS:
        return f"The record is {whole}; on a live system that is in memory alone ({kind}): {copy}."
    return f"The record is {whole}."


def type_of(path: str, mounts: str) -> str:
    """The type of the file system that holds an absolute path, by the lines of proc_pid_mounts(5); "" for none.

    Of two at one place the later one counts, for it lies over the other.
    """
    found, longest = "", -1
    for row in mounts.splitlines():
        fields = row.split(" ")
        if len(fields) < 3:  # noqa: PLR2004 - device, place, type
            continue
        place = _unescaped(fields[1]).rstrip("/")
        if (path == place or path.startswith(f"{place}{os.sep}")) and len(place) >= longest:
            found, longest = fields[2], len(place)
    return found


def _unescaped(text: str) -> str:
    r"""A place as it is: fstab(5) has a blank as \040, and other letters likewise."""
    return re.sub(r"\\([0-7]{3})", lambda octal: chr(int(octal[1], 8)), text)
