r"""Kernel logs as JSON: ``dmesg -J``, and the systemd journal with one object a line.

util-linux 2.38 prints ``{"dmesg": [{"pri": 5, "time": 0.000000, "msg": "…"}]}``,
``pri`` being facility*8+level. The journal's fields are those of systemd's
JOURNAL_EXPORT_FORMATS: values are strings, binary data is an array of numbers,
a field that occurs twice an array, one that is too long null. JSON writes a
line feed as ``\n``, so a message is one record whatever a device put into it.
"""

from __future__ import annotations

import json
from typing import List, Mapping, Optional

from usbwatch.capture.log.records import Record

__all__ = ["dmesg_json", "journal_json", "journal_record"]

_LATEST_S = 9_000_000_000
"""Seconds below which a stamp in microseconds is a number that JSON carries exactly."""


def dmesg_json(text: str) -> Optional[List[Record]]:
    """The records of ``dmesg -J``, None for anything else."""
    document = _parsed(text)
    entries = document.get("dmesg") if isinstance(document, dict) else None
    if not isinstance(entries, list):
        return None
    return [record for record in map(_dmesg_record, entries) if record is not None]


def _dmesg_record(entry: object) -> Optional[Record]:
    """One entry, None for one that a program wrote or that says nothing."""
    if not isinstance(entry, dict) or not isinstance(entry.get("msg"), str):
        return None
    priority, time = entry.get("pri"), entry.get("time")
    facility, level = divmod(priority, 8) if isinstance(priority, int) else (0, None)
    if facility:
        return None
    stamp = round(time * 1_000_000) if isinstance(time, (int, float)) and 0 <= time < _LATEST_S else None
    return Record(text=entry["msg"], stamp_us=stamp, level=level, trusted=True)


def journal_json(text: str) -> Optional[List[Record]]:
    """The kernel's records of a journal, None when any line but a last, cut one is no JSON object."""
    found: List[Record] = []
    lines = text.rstrip().split("\n")
    for number, line in enumerate(lines):
        entry = _parsed(line) if line.strip() else {}
        if not isinstance(entry, dict):
            if number == len(lines) - 1 and number:
                break
            return None
        record = journal_record({name: _field(value) for name, value in entry.items()})
        found += [record] if record is not None else []
    return found


def _parsed(text: str) -> object:
    """The JSON value, None for text that is none."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None


def _field(value: object) -> str:
    """A journal field as text: of a field that occurs twice the first, "" for one that was left out."""
    if isinstance(value, list) and value and isinstance(value[0], (str, list)):
        value = value[0]
    if isinstance(value, str):
        return value
    if isinstance(value, list) and all(isinstance(byte, int) and 0 <= byte < 256 for byte in value):  # noqa: PLR2004
        return bytes(value).decode("utf-8", "backslashreplace")
    return ""


def journal_record(entry: Mapping[str, str]) -> Optional[Record]:
    """The record of one journal entry, None for one that did not come from the kernel itself."""
    if entry.get("_TRANSPORT") != "kernel" or entry.get("SYSLOG_FACILITY", "0") != "0" or not entry.get("MESSAGE"):
        return None
    # The kernel's own stamp where there is one; __MONOTONIC_TIMESTAMP is the time of reception.
    stamp = _number(entry, "_SOURCE_MONOTONIC_TIMESTAMP")
    level = _number(entry, "PRIORITY")
    return Record(
        text=entry["MESSAGE"],
        stamp_us=_number(entry, "__MONOTONIC_TIMESTAMP") if stamp is None else stamp,
        level=level if level is not None and level < 8 else None,  # noqa: PLR2004
        subsystem=entry.get("_KERNEL_SUBSYSTEM", ""),
        device=entry.get("_KERNEL_DEVICE", ""),
        boot=entry.get("_BOOT_ID", ""),
        trusted=True,
    )


def _number(entry: Mapping[str, str], name: str) -> Optional[int]:
    text: str = entry.get(name, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else None  # noqa: PLR2004
