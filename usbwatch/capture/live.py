"""The tree of the machine that runs this, with patience for devices that are stuck in the kernel."""

from __future__ import annotations

import errno
import os
import queue
import threading
import weakref
from typing import Optional, Set, Tuple, Union

from usbwatch.capture.files import read_regular, read_sysfs
from usbwatch.capture.tree import ATTRIBUTE_LIMIT

__all__ = ["GUARDED", "PATIENCE_S", "LiveTree"]

PATIENCE_S = 2.0
"""Seconds to wait for an attribute that the kernel guards with the device's lock."""

GUARDED = frozenset(
    {
        "bConfigurationValue",
        "bMaxPower",
        "bNumInterfaces",
        "bmAttributes",
        "configuration",
        "manufacturer",
        "product",
        "serial",
        "interface",
        "bos_descriptors",
    }
)
"""USB attributes whose reading waits while the hub thread retries the device (drivers/usb/core/sysfs.c)."""

_SYSFS = "sys/"


class LiveTree:
    """The ``/sys`` and ``/proc`` of the machine that runs this; ``patience_s`` is ``PATIENCE_S`` when not given."""

    source = "live"

    def __init__(self, patience_s: Optional[float] = None) -> None:
        self._patience_s = PATIENCE_S if patience_s is None else patience_s
        self._patient: Optional[_PatientReader] = None
        self._stuck: Set[str] = set()
        """Folders of devices that held an attribute back: the lock is one for all their guarded attributes."""

    def list(self, path: str) -> Tuple[str, ...]:
        """Names in a folder, sorted."""
        return tuple(sorted(os.listdir("/" + path)))

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Content of a file; ETIMEDOUT when the kernel holds it back for ``patience_s``.

        After that no guarded attribute of the same folder is waited for again: ETIMEDOUT at once.
        """
        folder, _, name = path.rpartition("/")
        if name in GUARDED:
            return self._read_patiently(folder, name, limit)
        return (read_sysfs if path.startswith(_SYSFS) else read_regular)("/" + path, limit)

    def _read_patiently(self, folder: str, name: str, limit: int) -> bytes:
        path = f"/{folder}/{name}"
        if folder in self._stuck:
            raise OSError(errno.ETIMEDOUT, "not asked again: its device is stuck", path)
        if self._patient is None:
            self._patient = _PatientReader()
        try:
            return self._patient.read(path, limit, self._patience_s)
        except queue.Empty:
            self._patient = None  # Its thread hangs in the kernel; the next device gets another.
            self._stuck.add(folder)
            raise OSError(errno.ETIMEDOUT, "not readable in time", path) from None

    def link(self, path: str) -> str:
        """Text of a symbolic link."""
        return os.readlink("/" + path)


_Answer = Union[bytes, OSError]


class _PatientReader:
    """A thread that reads for the capture, so that a stuck device cannot hold it up; it ends with its owner."""

    def __init__(self) -> None:
        self._wanted: queue.SimpleQueue[Optional[Tuple[str, int]]] = queue.SimpleQueue()
        self._answers: queue.SimpleQueue[_Answer] = queue.SimpleQueue()
        threading.Thread(target=_answer_all, args=(self._wanted, self._answers), daemon=True).start()
        weakref.finalize(self, self._wanted.put, None)

    def read(self, path: str, limit: int, patience_s: float) -> bytes:
        """Content of a regular file; raises ``queue.Empty`` when it does not come within ``patience_s``."""
        self._wanted.put((path, limit))
        answer = self._answers.get(timeout=patience_s)
        if isinstance(answer, OSError):
            raise answer
        return answer


def _answer_all(wanted: queue.SimpleQueue[Optional[Tuple[str, int]]], answers: queue.SimpleQueue[_Answer]) -> None:
    for path, limit in iter(wanted.get, None):
        try:
            answers.put(read_regular(path, limit))
        except OSError as error:
            answers.put(error)
