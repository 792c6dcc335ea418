"""Every state that a medium can be in when it is pulled out, from the log of what was written to it.

The log is that of the emulator's block driver ``blklogwrites``, in the format
of the kernel's dm-log-writes (Documentation/admin-guide/device-mapper/
log-writes.rst): a first sector that says what this is, then for each request
a sector that describes it, followed by its data.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Write", "apply", "states", "writes"]

_MAGIC = 0x6A736677736872
_FLUSH, _FUA, _DISCARD = 1, 2, 4
_SECTOR = 512


@dataclass(frozen=True, slots=True, kw_only=True)
class Write:
    """One request: data for a place, or none, which is an order to make all that came before it last."""

    offset: int
    data: bytes
    lasting: bool
    """Whether what was written before (a flush), or this itself (forced unit access), lasts when it is done."""


def writes(log: Path) -> list[Write]:
    """All requests of a log in order."""
    whole = log.read_bytes()
    magic, _, _, sector = struct.unpack_from("<QQQI", whole)
    assert (magic, sector) == (_MAGIC, _SECTOR), "no log of writes"
    found: list[Write] = []
    at = _SECTOR
    while at + _SECTOR <= len(whole):
        first, count, flags, _ = struct.unpack_from("<4Q", whole, at)
        assert not flags & _DISCARD, "a discard: not expected of a stick"
        at += _SECTOR
        data = whole[at : at + count * _SECTOR]
        if not (count or flags):  # room that was never used
            break
        found.append(Write(offset=first * _SECTOR, data=data, lasting=bool(flags & (_FLUSH | _FUA))))
        at += len(data)
    return found


def states(done: list[Write], dice: random.Random) -> Iterator[list[tuple[int, bytes]]]:
    """For each request, what may be on the medium if it was pulled out then, beyond what was there at the start.

    Up to each request two states: all before it and some of its own sectors, as
    with a stick that keeps the order; and of what no flush has made last, any
    part, as with a stick that has a cache and keeps no order.
    """
    settled: list[tuple[int, bytes]] = []
    waiting: list[tuple[int, bytes]] = []
    for one in done:
        sectors = [
            (one.offset + start, one.data[start : start + _SECTOR]) for start in range(0, len(one.data), _SECTOR)
        ]
        yield [*settled, *waiting, *sectors[: dice.randint(0, len(sectors))]]
        if one.lasting and not sectors:
            settled, waiting = [*settled, *waiting], []
        else:
            waiting = [*waiting, *sectors]
        yield [*settled, *(sector for sector in waiting if dice.random() < 0.5)]


def apply(medium: Path, state: list[tuple[int, bytes]]) -> None:
    """Write a state into a copy of the medium as it was at the start."""
    with medium.open("r+b") as file:
        for offset, data in state:
            file.seek(offset)
            file.write(data)
