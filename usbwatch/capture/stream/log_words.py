"""Lines of the kernel's log as news of USB devices and ports; what each line means stands in ``log.troubles``.

Only ``/dev/kmsg`` is read here, in which the kernel escapes what is not
printable, so no name that a device chose can look like a line of the kernel's.
"""

from __future__ import annotations

import re
from typing import Iterator, Mapping, Optional

from usbwatch.capture.log.kmsg_records import kmsg_records
from usbwatch.capture.log.records import Record
from usbwatch.capture.log.subjects import Place, Subject, subject_of
from usbwatch.capture.log.troubles import OVER_CURRENT, told_by
from usbwatch.capture.stream.news import Logged, LogWord

__all__ = ["log_news"]

_WORDS = {
    "gone": LogWord.GONE,
    "enumerated": LogWord.FOUND,
    "failure": LogWord.FAILURE,
    "given up": LogWord.GAVE_UP,
}
"""What a line means to an enumeration (``Told.event``), in our words."""

_PLACES = (Place.USB_DEVICE, Place.USB_PORT, Place.HUB)
_NAME = "Product: "  # drivers/usb/core/hub.c, announce_device
_RESET = re.compile(r"reset [\w -]{1,40} USB device number \d{1,3} using [\w-]{1,60}\Z")  # drivers/usb/core/hub.c
_ESCAPE = re.compile(rb"\\x([0-9a-f]{2})")


def log_news(text: str, at_ms: int, root_hubs: Mapping[str, str]) -> Iterator[Logged]:
    """What records of ``/dev/kmsg`` tell; ``root_hubs`` gives the location of each USB bus number.

    Raises nothing for any text.
    """
    for record in kmsg_records(text) or ():
        if not record.text.startswith(("usb ", "hub ")):
            continue
        subject = subject_of(record.text)
        location = subject.location(root_hubs) if subject.place in _PLACES else ""
        news = _news(record, subject, at_ms, location) if location else None
        if news is not None:
            yield news


def _news(record: Record, subject: Subject, at_ms: int, location: str) -> Optional[Logged]:
    stamp_us = record.stamp_us or 0
    if subject.message.startswith(_NAME):
        name = _unescaped(subject.message[len(_NAME) :])
        return Logged(at_ms=at_ms, word=LogWord.NAMED, location=location, stamp_us=stamp_us, text=name)
    if _RESET.match(subject.message):
        return Logged(at_ms=at_ms, word=LogWord.RESET, location=location, stamp_us=stamp_us)
    told = told_by(subject)
    if told is None:
        return None
    telling, errno, _ = told
    word = LogWord.OVER_CURRENT if telling.trouble == OVER_CURRENT else _WORDS.get(telling.event)
    if word is None:
        return None
    return Logged(at_ms=at_ms, word=word, location=location, stamp_us=stamp_us, errno=errno)


def _unescaped(text: str) -> str:
    r"""A name as the device gave it: the kernel's ``\xNN`` as the byte that it stands for."""
    data = _ESCAPE.sub(lambda found: bytes([int(found.group(1), 16)]), text.encode("utf-8", "backslashreplace"))
    return data.decode("utf-8", "backslashreplace")
