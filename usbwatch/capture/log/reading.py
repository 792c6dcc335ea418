"""A kernel log read, whatever form it came in; the form is told from the text alone.

A form is believed only when the whole text has it. So a line that a device
forged within another form changes nothing: one line that does not fit, and the
text is read as text, in which doubtful lines found nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Callable, Iterator, List, Optional, Tuple

from usbwatch.capture.log.doubt import judged
from usbwatch.capture.log.export_form import journal_export
from usbwatch.capture.log.hearing import Hearing
from usbwatch.capture.log.json_forms import dmesg_json, journal_json
from usbwatch.capture.log.kmsg_records import kmsg_records
from usbwatch.capture.log.records import Record
from usbwatch.capture.log.text_forms import text_lines

__all__ = ["Reading", "read"]

_Reader = Callable[[str], Optional[List[Record]]]

_ESCAPING_FORMS: Tuple[Tuple[str, str, _Reader], ...] = (
    ("dmesg -J", "{", dmesg_json),
    ("journal as JSON", "{", journal_json),
    ("journal export", "__", journal_export),
    ("kmsg records", "", kmsg_records),
)
"""Forms that escape control characters: name, how such a text begins, reader."""

TEXT = "text"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """The lines of a log that may be used."""

    form: str
    """``text``, ``kmsg records``, ``dmesg -J``, ``journal as JSON`` or ``journal export``."""
    lines: Iterator[Tuple[Record, bool]]
    """Records in the order of the log, each with whether a device could have written it; they come one by one."""


def read(text: str, hearing: Optional[Hearing] = None) -> Reading:
    """The lines of a log; none for text that is none. Raises nothing for any text.

    ``hearing`` remembers what was worked out about them.
    """
    text = text.lstrip("\ufeff")
    for form, beginning, reader in _ESCAPING_FORMS:
        records = reader(text) if text.lstrip().startswith(beginning) else None
        if records is not None:
            return Reading(form=form, lines=((record, False) for record in records))
    return Reading(form=TEXT, lines=judged(text_lines(text), hearing))
