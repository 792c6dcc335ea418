"""Every state that a medium can be in when it is pulled out, from the log of what was written to it.

The log is that of the emulator's block driver ``blklogwrites``, in the format
of the kernel's dm-log-writes (Documentation/admin-guide/device-mapper/
log-writes.rst): a first sector that says what this is, then for each request
a sector that describes it, followed by its data.
"""

from __future__ import annotations

import random
import shutil
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Self

__all__ = ["Medium", "State", "Write", "states", "writes"]

_MAGIC = 0x6A736677736872
_FLUSH, _DISCARD = 1, 4
_SECTOR = 512


@dataclass(frozen=True, slots=True, kw_only=True)
class Write:
    """One request: sectors for a place, or none, which is an order to make all that came before it last (a flush)."""

    offset: int
    data: bytes
    logged: int
    """The length of the log with this request at its end, in bytes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """What is on a medium beyond what was there at the start, at one moment."""

    sectors: Mapping[int, bytes]
    """By offset in bytes."""
    logged: int
    """The length of the log at that moment."""


def writes(log: Path) -> list[Write]:
    """All requests of a log in order."""
    whole = log.read_bytes()
    magic, _, _, sector = struct.unpack_from("<QQQI", whole)
    assert (magic, sector) == (_MAGIC, _SECTOR), "no log of writes"
    found: list[Write] = []
    at = _SECTOR
    while at + _SECTOR <= len(whole):
        first, count, flags, _ = struct.unpack_from("<4Q", whole, at)
        if not (count or flags):  # room that was never used
            break
        assert not flags & _DISCARD, "a discard: not expected of a stick"
        assert count or flags & _FLUSH
        data = whole[at + _SECTOR : at + (1 + count) * _SECTOR]
        at += (1 + count) * _SECTOR
        found.append(Write(offset=first * _SECTOR, data=data, logged=at))
    return found


def states(done: list[Write], dice: random.Random) -> Iterator[State]:
    """For each request, what may be on the medium if its power went then.

    Two of each. Of a stick that keeps the order: all before the request, and
    the first of its own sectors. Of one with a cache that keeps no order:
    whatever was made last, and any part of what came since.
    """
    settled: dict[int, bytes] = {}
    waiting: list[tuple[int, bytes]] = []
    for one in done:
        sectors = [(one.offset + at, one.data[at : at + _SECTOR]) for at in range(0, len(one.data), _SECTOR)]
        before = one.logged - len(one.data) - _SECTOR
        yield State(sectors=settled | dict([*waiting, *sectors[: dice.randint(0, len(sectors))]]), logged=before)
        waiting += sectors
        yield State(sectors=settled | dict(one for one in waiting if dice.random() < 0.5), logged=before)
        if not sectors:
            settled, waiting = settled | dict(waiting), []


class Medium:
    """A copy of a medium that can be put into one state after the other."""

    def __init__(self, start: Path, copy: Path) -> None:
        self.path = copy
        shutil.copy(start, copy)
        self._file = copy.open("r+b")
        self._changed: dict[int, bytes] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def set(self, sectors: Mapping[int, bytes]) -> None:
        """Be as at the start, but for these sectors."""
        for offset, content in self._changed.items():
            self._write(offset, content)
        self._changed = {}
        for offset, content in sectors.items():
            self._file.seek(offset)
            self._changed[offset] = self._file.read(len(content))
            self._write(offset, content)
        self._file.flush()

    def _write(self, offset: int, content: bytes) -> None:
        self._file.seek(offset)
        self._file.write(content)
