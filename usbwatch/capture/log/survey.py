"""A kernel log as a whole: its episodes, and how much of it was there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import List, Mapping, Optional, Sequence, Tuple

from usbwatch.capture.log.grouping import Grouping
from usbwatch.capture.log.hearing import Hearing
from usbwatch.capture.log.reading import read
from usbwatch.capture.log.records import Record
from usbwatch.model import Episode

__all__ = ["Survey", "episodes", "surveyed"]

_FIRST_WORDS = 8
"""Lines within which a boot's log says which kernel it is; before that only an update of the processor's microcode."""
_LATE_US = 1_000_000
"""A first stamp later than this is not that of a start: the kernel's first lines are all stamped 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What a kernel log holds."""

    episodes: Tuple[Episode, ...]
    form: str
    """In which form it came: see ``usbwatch.capture.log.reading``."""
    lines: int
    """Records since the last start of the system."""
    doubtful: int
    """How many of them a device could have written."""
    lost: str
    """Why lines are known to be lost, as one phrase; "" for a whole log."""


def surveyed(log: str, root_hubs: Mapping[str, str]) -> Survey:
    """What a kernel log tells; ``root_hubs`` gives the location of each bus number of the same boot.

    Raises nothing for any text, in a time that grows with its length alone.
    """
    hearing = Hearing()
    reading = read(log, hearing)
    boot, start = "", _Start(root_hubs, hearing)
    for record, doubtful in reading.lines:
        # Bus and device numbers mean nothing beyond a start of the system.
        if record.boot != boot or (record.text.startswith("Linux version ") and not doubtful):
            boot, start = record.boot, _Start(root_hubs, hearing)
        start.take(record, doubtful)
    return Survey(
        episodes=start.grouping.episodes(start.end_us),
        form=reading.form,
        lines=start.lines,
        doubtful=start.doubtful,
        lost=_lost(start.first) or start.gap,
    )


def episodes(log: str, root_hubs: Mapping[str, str]) -> Tuple[Episode, ...]:
    """Troubles by place, sorted: see ``surveyed``."""
    return surveyed(log, root_hubs).episodes


class _Start:
    """The lines since one start of the system, taken one by one: a log can have very many."""

    def __init__(self, root_hubs: Mapping[str, str], hearing: Hearing) -> None:
        self.grouping = Grouping(root_hubs, hearing)
        self.lines = 0
        self.doubtful = 0
        self.first: List[Record] = []
        self.end_us: Optional[int] = None
        """The last stamp that no device could have written."""
        self.gap = ""
        """The first gap in the kernel's own numbering, as a phrase, "" for none or where the form has no numbers."""
        self._number: Optional[int] = None

    def take(self, record: Record, doubtful: bool) -> None:
        self.lines += 1
        if self.lines <= _FIRST_WORDS:
            self.first.append(record)
        if doubtful:
            self.doubtful += 1
        elif record.stamp_us is not None:
            self.end_us = record.stamp_us
        if record.sequence is not None:
            self._count(record.sequence)
        self.grouping.take(record, doubtful)

    def _count(self, number: int) -> None:
        if self._number is not None and number > self._number + 1:
            self.gap = self.gap or f"records {self._number + 1} to {number - 1} are not there"
        self._number = number


def _lost(first: Sequence[Record]) -> str:
    """Why the beginning of the log is known to be lost, "" when it is there."""
    if not first or any(record.text.startswith(("Linux version ", "Booting Linux on ")) for record in first):
        return ""
    record = first[0]
    if record.sequence is not None:
        return f"its first record is number {record.sequence}" if record.sequence else ""
    if record.stamp_us is None:
        return "it does not begin with the start of the system"
    if record.stamp_us > _LATE_US:
        return "it begins long after the start of the system"
    return ""
