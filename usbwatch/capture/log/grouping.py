"""Episodes: lines of the log that belong to one trouble at one place, counted once.

One fault can burn four device numbers and a dozen lines, and a part that never
answers is retried for over a minute. So the lines of a place are read in order,
and what they come to is decided at the end of the log: given up, enumerated
after all, or neither.
"""

from __future__ import annotations

import re
from collections import deque
from typing import Deque, Dict, Iterator, List, Mapping, Optional, Set, Tuple

from usbwatch.capture.log.hearing import Hearing
from usbwatch.capture.log.records import Record, shown
from usbwatch.capture.log.subjects import Place, Subject, names_something
from usbwatch.capture.log.troubles import (
    DISCONNECTED,
    ENUMERATED_LATE,
    ENUMERATION_FAILED,
    INTERMITTENT,
    OTHER,
    STILL_ENUMERATING,
    Told,
)
from usbwatch.model import Episode, Rung

__all__ = ["MOST_EPISODES", "Grouping"]

MOST_EPISODES = 256
"""Episodes of one capture at most: a log can be made to name any number of places."""

_KEPT_LINES = 4
_MOST_NUMBERS = 64
_LONGEST_LINE = 400
_LONGEST_SILENCE_US = 20_000_000
"""A descriptor is asked for three times with 5 s each (usbcore.initial_descriptor_timeout), so an enumeration that
is under way says something at least every 15 s; the rest is margin."""
_WARNING = 4
_KNOWN_PATHS = frozenset({Place.USB_DEVICE, Place.USB_PORT, Place.INTERFACE})

_Key = Tuple[str, str, str]


class _Gathered:
    """Lines of one trouble at one place, so far."""

    def __init__(self) -> None:
        self.count = 0
        self.doubtful = 0
        self.errno = 0
        self.rung = Rung.ABSENT
        self.stamps: List[int] = []
        self.head: List[Record] = []
        self.tail: Deque[Record] = deque(maxlen=_KEPT_LINES // 2)
        self.numbers: Set[int] = set()

    def add(self, record: Record, doubtful: bool, told: Told, errno: int) -> None:
        self.count += 1
        if len(self.head) < _KEPT_LINES // 2:
            self.head.append(record)
        else:
            self.tail.append(record)
        if record.stamp_us is not None:
            self.stamps = [*self.stamps[:1], record.stamp_us]
        if doubtful:
            self.doubtful += 1
            return
        self.errno = errno or self.errno
        self.rung = max(self.rung, told.rung, key=lambda rung: rung.height)

    def burn(self, number: int) -> None:
        """A device number that the kernel gave for this; 0 is none."""
        if number and len(self.numbers) < _MOST_NUMBERS:
            self.numbers.add(number)

    @property
    def founded(self) -> bool:
        return self.count > self.doubtful

    def episode(self, key: _Key) -> Episode:
        location, subject, trouble = key
        return Episode(
            location=location,
            trouble=trouble,
            count=self.count,
            errno=self.errno,
            lines=tuple(shown(record) for record in (*self.head, *self.tail)),
            subject="" if location else subject,
            first_us=self.stamps[0] if self.stamps else 0,
            last_us=self.stamps[-1] if self.stamps else 0,
            rung=self.rung,
            device_numbers=tuple(sorted(self.numbers)),
            doubtful=self.doubtful,
        )


class _Enumeration:
    """What became of the attempts at one port."""

    def __init__(self) -> None:
        self.state = ""
        """The last event that no device could have written: see ``Told.event``."""
        self.seeming = ""
        """The last event of any line."""
        self.last_us: Optional[int] = None
        self.number = 0
        self.started = _Gathered()
        self.failing = _Gathered()

    def take(self, record: Record, doubtful: bool, told: Told, errno: int, number: int) -> None:
        if told.event == "start":
            if self.seeming in ("enumerated", "gone"):
                self.started = _Gathered()
            self.number = number
            self.started.add(record, doubtful, told, errno)
            self.started.burn(number)
        elif told.event in ("failure", "given up"):
            self.failing.add(record, doubtful, told, errno)
            self.failing.burn(self.number)
        self.seeming = told.event
        if not doubtful:
            self.state = told.event
        if record.stamp_us is not None:
            self.last_us = record.stamp_us

    def trouble(self, end_us: Optional[int]) -> Tuple[str, _Gathered]:
        """The trouble that the attempts come to, "" for none, and its lines."""
        pending = self.state in ("start", "failure")
        silent = end_us is not None and self.last_us is not None and end_us - self.last_us > _LONGEST_SILENCE_US
        if self.failing.founded:
            if self.state in ("enumerated", "gone"):
                return ENUMERATED_LATE, self.failing
            under_way = pending and not silent and self.seeming != "given up"
            return (STILL_ENUMERATING if under_way else ENUMERATION_FAILED), self.failing
        if self.state == self.seeming == "start":
            # A device that drops off the bus while it is enumerated leaves no line of failure (hub.c keeps silent
            # about ENODEV and ENOTCONN).
            self.started.rung = Rung.ATTACHED
            return (ENUMERATION_FAILED if silent else STILL_ENUMERATING), self.started
        return "", self.failing


class Grouping:
    """The lines of one start of the system, sorted by place and trouble as they are taken.

    ``root_hubs`` gives the location of each bus number of the same start.
    """

    def __init__(self, root_hubs: Mapping[str, str], hearing: Hearing) -> None:
        self.root_hubs = root_hubs
        self.hearing = hearing
        self.troubles: Dict[_Key, _Gathered] = {}
        self.ports: Dict[Tuple[str, str], _Enumeration] = {}

    def take(self, record: Record, doubtful: bool) -> None:
        """The next line; ``doubtful`` when a device could have written it."""
        if not names_something(record.text) or len(record.text) > _LONGEST_LINE:
            return
        subject, found = self.hearing.of(record.text)
        if found is None:
            self._unknown(record, doubtful, subject)
            return
        told, errno, number = found
        if not (told.event or told.trouble):
            return
        where = self._where(subject)
        if told.event:
            self._port(where).take(record, doubtful, told, errno, number)
        if told.trouble and told.trouble != ENUMERATION_FAILED:
            gathered = self._gathered((*where, told.trouble))
            gathered.add(record, doubtful, told, errno)
            gathered.burn(number)

    def _where(self, subject: Subject) -> Tuple[str, str]:
        """Location and, for a place that the capture cannot name, the kernel's name."""
        location = subject.location(self.root_hubs)
        name = f"{subject.bus}-{subject.chain}" if subject.chain else subject.name
        return location, "" if location else name

    def _unknown(self, record: Record, doubtful: bool, subject: Subject) -> None:
        """An unknown line about a USB device or port of this unit is kept, unless it is known to be harmless."""
        if subject.place in _KNOWN_PATHS and subject.chain and _worth_keeping(record, subject):
            where = self._where(subject)
            if where[0]:
                self._gathered((*where, OTHER)).add(record, doubtful, _UNKNOWN, 0)

    def _port(self, where: Tuple[str, str]) -> _Enumeration:
        if where not in self.ports and len(self.ports) >= 4 * MOST_EPISODES:
            return _Enumeration()
        return self.ports.setdefault(where, _Enumeration())

    def _gathered(self, key: _Key) -> _Gathered:
        if key not in self.troubles and len(self.troubles) >= 4 * MOST_EPISODES:
            return _Gathered()
        return self.troubles.setdefault(key, _Gathered())

    def episodes(self, end_us: Optional[int]) -> Tuple[Episode, ...]:
        """Troubles by place, sorted; ``end_us`` is the last stamp that no device could have written."""
        return tuple(sorted(self._founded(end_us), key=_order)[:MOST_EPISODES])

    def _founded(self, end_us: Optional[int]) -> Iterator[Episode]:
        """Every trouble that stands on a line which no device could have written."""
        for key, gathered in self.troubles.items():
            if gathered.founded:
                location, subject, trouble = key
                several = trouble == DISCONNECTED and gathered.count > 1
                yield gathered.episode((location, subject, INTERMITTENT if several else trouble))
        for where, port in self.ports.items():
            trouble, gathered = port.trouble(end_us)
            if trouble and gathered.founded:
                yield gathered.episode((*where, trouble))


_UNKNOWN = Told(trouble=OTHER)
_NAMING_MESSAGES = ("Product: ", "Manufacturer: ", "SerialNumber: ", "Found UVC ")
_BAD_WORDS = re.compile(r"fail|error|timeout|timed out|can't|cannot|unable|invalid|not respond", re.IGNORECASE)


def _worth_keeping(record: Record, subject: Subject) -> bool:
    """Whether an unknown line may tell of trouble: by its level, or by its words where the form has no levels."""
    if subject.message.startswith(_NAMING_MESSAGES):
        return False
    if record.level is not None:
        return record.level <= _WARNING
    return subject.place is not Place.INTERFACE or _BAD_WORDS.search(subject.message) is not None


def _order(episode: Episode) -> Tuple[str, str, str]:
    return episode.location, episode.subject, episode.trouble
