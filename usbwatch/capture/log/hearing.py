"""What the lines of one log are about and what they tell, each worked out once.

A line is asked about twice: to tell whether it has room for a name that a
device chose, and to sort it by place and trouble.
"""

from __future__ import annotations

from typing import Dict, NamedTuple, Optional, Tuple

from usbwatch.capture.log.subjects import Subject, subject_of
from usbwatch.capture.log.troubles import Told, told_by

__all__ = ["Heard", "Hearing"]

_MOST_KEPT = 10_000
"""Lines that are remembered at most: a log can be made to hold any number."""


class Heard(NamedTuple):
    """What one line says; a named tuple as ``Record`` is."""

    subject: Subject
    told: Optional[Tuple[Told, int, int]]
    """See ``usbwatch.capture.log.troubles.told_by``."""


class Hearing:
    """The lines of one log as they are asked about."""

    def __init__(self) -> None:
        self._heard: Dict[str, Heard] = {}

    def of(self, text: str) -> Heard:
        """What a line's text says."""
        heard = self._heard.get(text)
        if heard is None:
            subject = subject_of(text)
            heard = Heard(subject, told_by(subject))
            if len(self._heard) < _MOST_KEPT:
                self._heard[text] = heard
        return heard

    def is_fixed(self, text: str) -> bool:
        """Whether a line has one of the known shapes, none of which has room for a name."""
        return self.of(text).told is not None
