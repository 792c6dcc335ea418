"""When a copied tree was gathered, and with what rights: what its collector noted in ``meta/taken.txt``.

One word and its value a line: ``taken_at`` (RFC 3339 in UTC, by the unit's own
clock) and ``privileged`` (``yes`` or ``no``). Other lines are passed over.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import NamedTuple

from usbwatch.capture.tree import Tree

__all__ = ["NOTE", "Origin", "origin"]

NOTE = "meta/taken.txt"
_LARGEST = 4096
_MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z\Z")


class Origin(NamedTuple):
    """What a collector noted of its run."""

    taken_at: str = ""
    """"" where it is not known."""
    privileged: bool = False
    """Whether it ran as root."""


def origin(tree: Tree) -> Origin:
    """What a copied tree's collector noted; a copy made otherwise says nothing of it."""
    try:
        lines = tree.read(NOTE, _LARGEST).decode("ascii", "replace").split("\n")
    except OSError:
        return Origin()
    told = {word: value.strip() for word, _, value in (line.partition(" ") for line in lines)}
    return Origin(_moment(told.get("taken_at", "")), told.get("privileged") == "yes")


def _moment(told: str) -> str:
    """The time as it was told, "" where there is no such day or time."""
    if not _MOMENT.match(told):
        return ""
    try:
        datetime.strptime(told, "%Y-%m-%dT%H:%M:%SZ")  # noqa: DTZ007 - looked at, and not calculated with
    except ValueError:
        return ""
    return told
