"""A kernel log as a whole: its episodes, and how much of it was there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Mapping, Sequence, Tuple

from usbwatch.capture.log.grouping import grouped
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
    return Survey(
        episodes=grouped(reading.lines, root_hubs, hearing),
        form=reading.form,
        lines=len(reading.lines),
        doubtful=[doubtful for _, doubtful in reading.lines].count(True),
        lost=_lost([record for record, _ in reading.lines[:_FIRST_WORDS]]) or _gap(reading.lines),
    )


def episodes(log: str, root_hubs: Mapping[str, str]) -> Tuple[Episode, ...]:
    """Troubles by place, sorted: see ``surveyed``."""
    return surveyed(log, root_hubs).episodes


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


def _gap(lines: Sequence[Tuple[Record, bool]]) -> str:
    """The first gap in the kernel's own numbering, as a phrase, "" for none or where the form has no numbers."""
    last = None
    for record, _ in lines:
        if last is not None and record.sequence is not None and record.sequence > last + 1:
            return f"records {last + 1} to {record.sequence - 1} are not there"
        last = record.sequence
    return ""
