"""The kernel's own count of the events it has given (``/sys/kernel/uevent_seqnum``, lib/kobject_uevent.c)."""

from __future__ import annotations

import os
from typing import Iterable, Optional

from usbwatch.capture.opening import READ_ONLY

__all__ = ["KernelCount"]

_FILE = "/sys/kernel/uevent_seqnum"


class KernelCount:
    """The count, and how much of it was heard. Raises ``OSError`` where there is no such count."""

    def __init__(self, path: str = _FILE) -> None:
        self._handle = os.open(path, READ_ONLY)
        self._heard = 0
        self._text = b""
        self._awaited: Optional[int] = None
        self.heard_any = False

    def start(self) -> None:
        """Take all that was given so far as heard."""
        self._heard = self._now()
        self._text = self._read()
        self._awaited = None

    def heard(self, numbers: Iterable[int]) -> None:
        """Note the numbers of events that came."""
        highest = max(numbers, default=0)
        self.heard_any = self.heard_any or highest > 0
        self._heard = max(self._heard, highest)

    def has_moved(self) -> bool:
        """Whether events were given since ``start``, or since this was true last."""
        text = self._read()
        moved = text != self._text
        self._text = text
        return moved

    def is_behind(self) -> bool:
        """Whether events lack that had been given by the last time this was asked; they are then taken as lost."""
        now = self._now()
        late = self._awaited is not None and self._heard < self._awaited
        if late:
            self._heard = now
        self._awaited = now if now > self._heard else None
        return late

    def close(self) -> None:
        """Let the file go."""
        os.close(self._handle)

    def _read(self) -> bytes:
        try:
            return os.pread(self._handle, 32, 0)
        except OSError:
            return self._text

    def _now(self) -> int:
        text = self._read().strip()
        return int(text) if text.isdigit() else self._heard
