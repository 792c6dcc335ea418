"""Saving beside the screen: a stick that is slow, full or gone holds nothing up, and one that comes back is written.

What is to be saved is made and written in a thread of its own. The loop asks how it stands, and is woken when that
changes.
"""

from __future__ import annotations

import contextlib
import os
import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from usbwatch.errors import UsbwatchError
from usbwatch.onboard.putting import FOLDER, Paper, put
from usbwatch.onboard.sticks import NoStickError, Stick, why_not
from usbwatch.safe import safe

__all__ = ["Job", "Kept", "Saver"]

_GOES_ON = "Leave it in ..."
_LOOK_EVERY_S = 1.0
_TRY_AGAIN_AFTER = 15
"""Looks at a stick that stays where it is and took nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One thing to be saved."""

    key: str
    """What it belongs to: later jobs of the same key are saved under the name that its first one got."""
    stem: str
    """The name that is wanted."""
    papers: Callable[[], Sequence[Paper]]
    """The files, made once, beside the screen."""
    beside: str = "Beside it are .txt to read and .html, the report."
    """What is to be said of the other files once all is saved."""
    before: Callable[[str], None] | None = None
    """What is read in the folder first, with the stick open."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """How it stands with all that is to be saved."""

    sentence: str
    well: bool
    """Whether nothing has failed so far."""
    done: bool
    """Whether all is on the stick."""


class Saver:
    """Saves jobs in their order; ``wake`` is a descriptor that can be read from when something has changed."""

    def __init__(self, stick: Stick | None, why_none: str = "") -> None:
        self._stick, self._why_none = stick, why_none
        self.wake, self._waker = os.pipe()
        for end in (self.wake, self._waker):
            os.set_blocking(end, False)
        self._jobs: queue.SimpleQueue[Job] = queue.SimpleQueue()
        self._open = 0
        self._names: dict[str, str] = {}
        self._kept = Kept(sentence="", well=True, done=True)
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._work, daemon=True)
        if stick is not None:
            self._thread.start()

    def want(self, job: Job) -> None:
        """Have it saved as soon as that can be."""
        if self._stick is None:
            self._tell(f"NOT SAVED: {self._why_none}. The answer is on this screen alone.", well=False, done=True)
            return
        with self._lock:
            self._open += 1
        self._tell(f"Saving on the stick. {_GOES_ON}", well=True, done=False)
        self._jobs.put(job)

    def kept(self) -> Kept:
        """How it stands now."""
        return self._kept

    def name_of(self, key: str) -> str:
        """The name of the capture of that key on the stick, "" while it has none."""
        stem = self._names.get(key, "")
        return f"{stem}.json" if stem else ""

    def rest(self) -> None:
        """Take what made ``wake`` readable off it."""
        with contextlib.suppress(BlockingIOError):
            os.read(self.wake, 512)

    def _tell(self, sentence: str, *, well: bool, done: bool) -> None:
        self._kept = Kept(sentence=sentence, well=well, done=done)
        with contextlib.suppress(BlockingIOError):
            os.write(self._waker, b".")

    def _work(self) -> None:
        while True:
            job = self._jobs.get()
            try:
                papers = job.papers()
                while not self._is_saved(job, papers):
                    self._wait_for_another_try()
            except Exception as error:  # noqa: BLE001 - a bug of ours must not leave the screen without a word
                said = f"NOT SAVED: this is a bug in usbwatch itself: {type(error).__name__}: {safe(str(error), 200)}."
                self._tell(said, well=False, done=self._is_last())
                continue
            name = self.name_of(job.key)
            if self._is_last():
                self._tell(f"Saved on this stick: {FOLDER}/{name}. {job.beside}", well=True, done=True)
            else:
                self._tell(f"The capture is on the stick: {FOLDER}/{name}. {_GOES_ON}", well=True, done=False)

    def _is_last(self) -> bool:
        with self._lock:
            self._open -= 1
            return not self._open

    def _is_saved(self, job: Job, papers: Sequence[Paper]) -> bool:
        assert self._stick is not None
        try:
            with self._stick.opened() as folder:
                if job.before is not None:
                    # Whatever stands there from earlier, it must not keep the new capture from being saved.
                    with contextlib.suppress(Exception):
                        job.before(folder)
                self._names[job.key] = put(folder, self._names.get(job.key, job.stem), papers)
        except (NoStickError, UsbwatchError, OSError) as error:
            gone = isinstance(error, NoStickError) or not self._there()
            said = (
                "Put it in again, and it is saved then."
                if gone
                else "It is tried again when the stick was put in anew."
            )
            self._tell(f"NOT SAVED: {why_not(error)}. {said}", well=False, done=False)
            return False
        return True

    def _there(self) -> bool:
        assert self._stick is not None
        try:
            return self._stick.is_there()
        except OSError:
            return False

    def _wait_for_another_try(self) -> None:
        """Until the stick has been away and is back; one that stays is tried again after a while."""
        pause = threading.Event()
        tries = _TRY_AGAIN_AFTER
        while self._there() and tries:
            pause.wait(_LOOK_EVERY_S)
            tries -= 1
        while not self._there():
            pause.wait(_LOOK_EVERY_S)
