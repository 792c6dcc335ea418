r"""Which lines of a log kept as text a device could have written itself.

A device chooses its name. The kernel prints that name, and in a log kept as
text a line feed in it begins what looks like a new line: with the same stamp,
when the console or syslog(2) wrote the text (kernel/printk/printk.c repeats
the prefix on every line of a record); with any stamp that the device made up,
when a program printed what it read from ``/dev/kmsg``. The order of stamps
alone proves nothing, since a device can count the time since power-on. Its
length does: a USB string holds at most 126 characters (USB 2.0 section 9.6.7:
bLength is one byte, two bytes a character), so a forged line must *end* within
126 characters of where the string began.

The rule, for every form that does not escape control characters:

1. A line that ends within reach of a text that a device may have chosen is
   **doubtful**. It founds no episode, clears none, proves no rung and gives no
   error number; it is counted with an episode that stands without it.
2. A line whose stamp is earlier than that of a line which is not doubtful is
   not used at all.
3. A line of no known shape is not used, and counts towards the reach.
4. The beginning of a text is doubtful too: it may have been cut within a name.

Forms that escape (``/dev/kmsg`` records, JSON, the journal's export) have no
doubtful lines. Besides, ``compare`` asks the log only about places where
nothing stands: no line, forged or true, is held against a device that is there.
"""

from __future__ import annotations

import re
from typing import Iterator, Match, Optional, Tuple

from usbwatch.capture.log.hearing import Hearing
from usbwatch.capture.log.records import Record

__all__ = ["USB_STRING_CHARACTERS", "judged"]

USB_STRING_CHARACTERS = 126
"""Characters of the longest USB string: (255 - 2) bytes in UTF-16 (USB 2.0 section 9.6.7)."""

_NAME_CHARACTERS = 256
"""Characters of the longest other name in a line: a Bluetooth device's 248; a HID device's name ends at 128 bytes
(include/linux/hid.h)."""

_CHOSEN = re.compile(
    r"(?P<string>usb [\w.-]{1,40}: (?:Product|Manufacturer|SerialNumber): )|"
    r"usb [\du]|input: |hid|[\w-]{1,40} [0-9A-F]{4}:[0-9A-F]{4}:[0-9A-F]{4}\.|[\w-]{1,40} \d{1,3}-[\d.]{1,20}:|"
    r"uvcvideo|Bluetooth|i2c|hub |snd|ALSA|cdc|media|thunderbolt|typec"
)
"""Beginnings of lines that hold a USB string, and of those that may hold a name which a device chose."""

_ESCAPE = re.compile(r"\\x[0-9a-f]{2}|\\u[0-9a-f]{4}|\\U[0-9a-f]{8}")
"""What one character of a name may have become; counted as none, since one character can turn into three of these."""


def judged(
    lines: Iterator[Tuple[str, int, Optional[Record]]], hearing: Optional[Hearing] = None
) -> Iterator[Tuple[Record, bool]]:
    """The lines of a text that may be used, each with whether it is doubtful.

    ``lines`` gives the whole line, the length of what stands before its text,
    and its record (None for a line that is not the kernel's). ``hearing``
    remembers for those who ask about the same lines again.
    """
    hearing = hearing or Hearing()
    reach, stamp, latest = USB_STRING_CHARACTERS, None, -1
    for line, prefix, record in lines:
        doubtful = reach >= 0
        if doubtful:
            same = record is not None and record.stamp_us == stamp
            reach -= 1 + len(_ESCAPE.sub("", line) if "\\" in line else line) - (prefix if same else 0)
            doubtful = reach >= 0
        if record is None:
            continue
        stamp = record.stamp_us
        chosen = _CHOSEN.match(record.text)
        if chosen:
            reach = max(reach, _reach(chosen, hearing))
        elif not doubtful and record.text.startswith("Linux version "):
            latest = -1  # the next start of the system: its clock begins anew
        if stamp is not None:
            if stamp < latest:
                continue
            if not doubtful:
                latest = stamp
        yield record, doubtful


def _reach(chosen: Match[str], hearing: Hearing) -> int:
    """How many characters after this line a device may have written, -1 when it wrote nothing in it."""
    if chosen["string"]:
        return USB_STRING_CHARACTERS - len(_ESCAPE.sub("", chosen.string[chosen.end() :]))
    return -1 if hearing.is_fixed(chosen.string) else _NAME_CHARACTERS
