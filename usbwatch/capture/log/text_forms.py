"""Kernel logs as text: what ``dmesg`` and the console print, and what a system log adds in front.

Shapes: kernel/printk/printk.c (stamp, caller id, ``<N>``); util-linux 2.38
``dmesg`` for ``-x``, ``-d``, ``-T`` and ``--time-format iso``; the ``short``
forms of the systemd journal. No text form escapes a line feed, so none is
trusted: see ``usbwatch.capture.log.doubt``.
"""

from __future__ import annotations

import calendar
import re
from typing import Iterator, Match, Optional, Tuple

from usbwatch.capture.log.records import LEVELS, Record

__all__ = ["PLAIN", "text_lines"]

_CLASS = r"(?:<(?P<prefix>\d{1,4})>|(?P<facility>[a-z]{2,8}\d?) *:(?P<level>[a-z]{3,6}) *: ?)?"
_CALLER = r"(?:\[ *[TC]\d{1,10}\])?"
_MONOTONIC = r"\[ *(?P<seconds>\d{1,10})\.(?P<micro>\d{6})(?: ?<[ \d.]{1,24}>)?\]"
_ASCTIME = (
    r"\[[A-Z][a-z]{2} (?P<month>[A-Z][a-z]{2}) (?P<day>[ \d]\d) "
    r"(?P<hour>\d\d):(?P<minute>\d\d):(?P<second>\d\d) (?P<year>\d{4})\]"
)
_ISO = (
    r"(?P<iyear>\d{4})-(?P<imonth>\d\d)-(?P<iday>\d\d)T(?P<ihour>\d\d):(?P<iminute>\d\d):(?P<isecond>\d\d)"
    r",(?P<imicro>\d{6})(?P<sign>[+-])(?P<ohour>\d\d):?(?P<ominute>\d\d)"
)
_SYSLOG = r"(?:[A-Z][a-z]{2} [ \d]\d \d\d:\d\d:\d\d|\d{4}-\d\d-\d\dT[\d:.,+Z-]{8,24}) \S{1,64} kernel: "
PLAIN = re.compile(rf"(?:{_SYSLOG})?{_CLASS}(?:{_MONOTONIC}{_CALLER}|{_ASCTIME}|{_ISO}) ")
"""What stands before the text of a line, in every text form."""

_LINES = re.compile(r"(?!\Z)(?:((?:[^\n\r]{0,9}\r*\n)+)|((?:\[ {0,16}(\d{1,10})\.(\d{6})\] )?)(.*)\n?)")
"""Each line, taken apart where it has the form that most have: ``PLAIN`` says the same of those.

Lines that are too short for any form come as many at once: a log can be sixteen million empty ones.
"""

_ENDS = re.compile(r"\r+\n")

_MONTHS = {name: number for number, name in enumerate("Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(), 1)}  # noqa: SIM905
_EPOCH = 1970
_LONGEST_PREFIX = 160


def text_lines(text: str) -> Iterator[Tuple[str, int, Optional[Record]]]:
    """Each line, the length of what stands before its text, and its record; None for one that is not the kernel's.

    Several lines in a row that are too short to be the kernel's come as one.
    Lines end at a line feed and nowhere else: any other line break is a
    character that a device may have put into a name.
    """
    for found in _LINES.finditer(text):
        short, before, seconds, micro, ended = found.groups()
        if short:
            yield _ENDS.sub("\n", short)[:-1] if "\r" in short else short[:-1], 0, None
            continue
        said = ended.rstrip("\r")
        if before:
            line = before + said
            yield line, len(before), Record(said, int(seconds + micro), None, line)
            continue
        shape = PLAIN.match(said, 0, _LONGEST_PREFIX)
        yield (said, shape.end(), _record(shape, said)) if shape else (said, 0, None)


def _record(shape: Match[str], line: str) -> Optional[Record]:
    """The record of a line, None for one that some program wrote into the kernel's log."""
    facility, level = 0, None
    if shape["prefix"]:
        facility, level = divmod(int(shape["prefix"]), 8)
    elif shape["level"]:
        facility, level = int(shape["facility"] != "kern"), LEVELS.get(shape["level"])
    if facility:
        return None
    return Record(text=line[shape.end() :], stamp_us=_stamp(shape), level=level, raw=line)


def _stamp(shape: Match[str]) -> Optional[int]:
    if shape["seconds"]:
        return int(shape["seconds"]) * 1_000_000 + int(shape["micro"])
    if shape["month"]:
        month = _MONTHS.get(shape["month"], 0)
        return _wall(int(shape["year"]), month, *(int(shape[name]) for name in ("day", "hour", "minute", "second")))
    local = _wall(*(int(shape[name]) for name in ("iyear", "imonth", "iday", "ihour", "iminute", "isecond")))
    ahead = (int(shape["ohour"]) * 60 + int(shape["ominute"])) * 60_000_000
    return None if local is None else local + int(shape["imicro"]) + (ahead if shape["sign"] == "-" else -ahead)


def _wall(year: int, month: int, day: int, *time: int) -> Optional[int]:
    """Microseconds since 1970 of a date and its hour, minute and second; None for what is no date."""
    if year < _EPOCH or month not in range(1, 13) or day not in range(1, 32):
        return None
    return calendar.timegm((year, month, day, *time)) * 1_000_000
