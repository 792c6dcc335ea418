"""The only modules that touch the machine: a tree of files to list, read and follow.

A reader sees the machine through ``Tree`` alone, with paths such as
``sys/bus/usb/devices``, so the same reader serves a live machine, a copied
root and a test's tree. Nothing here opens anything for writing, and no reader
asks for a file that does something when it is read (a USB port's ``disable``
wakes its hub; ``power/level`` logs a warning).
"""

from __future__ import annotations

import errno
import os
import queue
import re
import stat
import threading
import weakref
from typing import Dict, List, Optional, Protocol, Tuple, Union

from usbwatch.capture.opening import READ_ONLY_NO_LINK
from usbwatch.errors import BadTree

__all__ = ["ATTRIBUTE_LIMIT", "CopiedTree", "LiveTree", "Tree"]

ATTRIBUTE_LIMIT = 65_536
"""Bytes read of one attribute at most: above sysfs' page and the longest descriptor file."""

_PAGE = 4096
"""Bytes that sysfs gives of a text attribute at most, whatever length it says."""

_DEEPEST = 100
"""Folders on the way to a file at most: sysfs' deepest devices need half of it."""

_PLAIN_TARGET = re.compile(r"(?:\.\./)*(?!/)(?!(?:.*/)?\.\.(?:/|\Z)).+\Z", re.DOTALL)
"""A link's target that can be worked out on names alone: relative, and never back up after a name."""

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


class Tree(Protocol):
    """Files below a root. All methods raise ``OSError`` with its ``errno`` when they cannot."""

    source: str
    """``live`` or ``tree``."""

    def list(self, path: str) -> Tuple[str, ...]:
        """Names in a folder, sorted."""

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Content of a regular file, at most ``limit`` bytes of it."""

    def link(self, path: str) -> str:
        """Text of a symbolic link; raises ``OSError`` (EINVAL) for anything else."""


def _read_regular(path: str, limit: int) -> bytes:
    """At most ``limit`` bytes; refuses anything but a regular file, and never waits for a writer."""
    handle = os.open(path, READ_ONLY_NO_LINK)
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            raise OSError(errno.EINVAL, "not a regular file", path)
        size = status.st_size
        content = os.read(handle, limit if limit < _PAGE or size > _PAGE else _PAGE)
        if len(content) != size and content:
            # A file of the kernel may be shorter than it says, give more than it says, or give it in pieces.
            content += _rest(handle, limit - len(content))
        return content
    finally:
        os.close(handle)


def _rest(handle: int, limit: int) -> bytes:
    pieces: List[bytes] = []
    while limit > 0:
        piece = os.read(handle, limit)
        if not piece:
            break
        pieces.append(piece)
        limit -= len(piece)
    return b"".join(pieces)


class LiveTree:
    """The ``/sys`` and ``/proc`` of the machine that runs this."""

    source = "live"

    def __init__(self) -> None:
        self._patient: Optional[_PatientReader] = None

    def list(self, path: str) -> Tuple[str, ...]:
        """Names in a folder, sorted."""
        return tuple(sorted(os.listdir("/" + path)))

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Content of a file; ETIMEDOUT when the kernel holds it back for ``PATIENCE_S``."""
        if path.rpartition("/")[2] in GUARDED:
            return self._read_patiently("/" + path, limit)
        return _read_regular("/" + path, limit)

    def _read_patiently(self, path: str, limit: int) -> bytes:
        if self._patient is None:
            self._patient = _PatientReader()
        try:
            return self._patient.read(path, limit)
        except queue.Empty:
            self._patient = None  # Its thread hangs in the kernel; the next attribute gets another.
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

    def read(self, path: str, limit: int) -> bytes:
        """Content of a regular file; raises ``queue.Empty`` when it does not come within ``PATIENCE_S``."""
        self._wanted.put((path, limit))
        answer = self._answers.get(timeout=PATIENCE_S)
        if isinstance(answer, OSError):
            raise answer
        return answer


def _answer_all(wanted: queue.SimpleQueue[Optional[Tuple[str, int]]], answers: queue.SimpleQueue[_Answer]) -> None:
    for path, limit in iter(wanted.get, None):
        try:
            answers.put(_read_regular(path, limit))
        except OSError as error:
            answers.put(error)


class CopiedTree:
    """A copy of a machine's tree: a folder that holds ``sys``, and where it can ``proc`` and ``meta``.

    Nothing outside the folder is ever read, whatever its links say. Raises
    ``BadTree`` when the folder is none, or holds no ``sys``.
    """

    source = "tree"

    def __init__(self, root: str) -> None:
        self._shown = root
        self._root = os.path.realpath(root)
        self._real: Dict[str, Optional[str]] = {"": self._root}
        self._check_root()

    def _check_root(self) -> None:
        try:
            names = os.listdir(self._root)
        except NotADirectoryError:
            raise BadTree(self._shown, "is a file", "give the folder that holds the copied sys") from None
        except FileNotFoundError:
            raise BadTree(self._shown, "does not exist") from None
        except OSError as error:
            raise BadTree(self._shown, f"cannot be read ({error.strerror})", "check its permissions") from None
        if os.path.islink(os.path.join(self._root, "sys")):
            raise BadTree(self._shown, "its sys is a link", "copy the folder itself")
        if "sys" not in names:
            raise BadTree(self._shown, "holds no folder named sys", "give the folder that holds the copied sys")
        try:
            inside = os.listdir(os.path.join(self._root, "sys"))
        except OSError as error:
            raise BadTree(self._shown, f"its sys cannot be read ({error.strerror})", "copy it again") from None
        if "bus" not in inside and "class" not in inside:
            raise BadTree(self._shown, "its sys holds neither bus nor class", "copy all of sys, with its links")

    def _guarded(self, path: str) -> str:
        """The real path, once the folder it lies in is known to lie inside the root; else EPERM."""
        folder, _, name = path.rpartition("/")
        real = self._real.get(folder) or self._followed(folder)
        if real is None or name == "..":
            raise OSError(errno.EPERM, "leads out of the copied tree", path)
        return f"{real}/{name}"

    def _followed(self, folder: str) -> Optional[str]:
        """The folder with all links on its way followed, None when that leads out of the root or nowhere."""
        if folder in self._real:
            return self._real[folder]
        if folder.count("/") > _DEEPEST:
            raise OSError(errno.ENAMETOOLONG, "too many folders deep", folder)
        above, _, name = folder.rpartition("/")
        self._real[folder] = None  # What a link that leads back to itself comes to.
        real = self._followed(above)
        if real is not None:
            full = f"{real}/{name}"
            real = None if name == ".." else self._through(full) if os.path.islink(full) else full
        self._real[folder] = real
        return real

    def _through(self, link: str) -> Optional[str]:
        """Where a link leads whose own folder is real, None when that is out of the root or nowhere."""
        target = os.readlink(link)
        if not _PLAIN_TARGET.match(target):
            real = os.path.realpath(link)
            return real if real.startswith(self._root + os.sep) else None
        full = os.path.normpath(f"{os.path.dirname(link)}/{target}")
        return self._followed(full[len(self._root) + 1 :]) if full.startswith(self._root + os.sep) else None

    def list(self, path: str) -> Tuple[str, ...]:
        """Names in a folder, sorted; a folder that is itself a link is not entered."""
        full = self._guarded(path)
        if self._followed(path) != full:
            raise OSError(errno.ELOOP, "a link in place of a folder", path)
        return tuple(sorted(os.listdir(full)))

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Content of a regular file inside the root."""
        return _read_regular(self._guarded(path), limit)

    def link(self, path: str) -> str:
        """Text of a symbolic link; where it leads is never followed here."""
        return os.readlink(self._guarded(path))
