"""Captures and what goes with them, written into the folder ``captures`` of a stick: whole or not at all.

Each file is written under another name, synced, and renamed; then the folder is synced
(``usbwatch.kit.sticks``). Nothing that is there is ever overwritten.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from usbwatch.kit.sticks import write_new

__all__ = ["FOLDER", "Paper", "put"]

FOLDER = "captures"
_DRAFT = re.compile(r"\.(?P<name>[a-z0-9][a-z0-9.-]*)\.\d+\.part\Z")
"""What ``write_new`` calls a file that is not whole yet: one of those that stayed was cut off by a stick pulled out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """One file: what follows the capture's own name, and what is in it."""

    ending: str
    """``.json`` of the capture itself, which comes first; ``.txt``, ``.unit.json``, …"""
    content: Callable[[str], bytes]
    """What is in it, given the stem of the capture's name as it is on the stick."""


def put(folder: str, stem: str, papers: Sequence[Paper]) -> str:
    """Write the papers of one capture; the stem of their names, with a number where another has it.

    Raises ``UnwritableOutput``: then those before it are there, whole.
    """
    inside = os.path.join(folder, FOLDER)
    with contextlib.suppress(FileExistsError):
        os.mkdir(inside)
    _clear(inside)
    for paper in papers:
        path = write_new(os.path.join(inside, f"{stem}{paper.ending}"), paper.content(stem))
        if paper.ending == ".json":
            stem = os.path.splitext(os.path.basename(path))[0]
    return stem


def _clear(folder: str) -> None:
    """Take away what an earlier pull left half written.

    A draft whose file is there, too, stays: pulled out between two sectors of the folder, FAT has both names for the
    same clusters, and to delete one would give them away under the other.
    """
    names = set(os.listdir(folder))
    for name in names:
        draft = _DRAFT.match(name)
        if draft and draft["name"] not in names:
            with contextlib.suppress(OSError):
                os.unlink(os.path.join(folder, name))
