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
import stat
import threading
from typing import Dict, List, Protocol, Tuple

from usbwatch.errors import BadTree

__all__ = ["ATTRIBUTE_LIMIT", "CopiedTree", "LiveTree", "Tree"]

ATTRIBUTE_LIMIT = 65_536
"""Bytes read of one attribute at most: above sysfs' page and the longest descriptor file."""

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
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOFOLLOW)
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, "not a regular file", path)
        pieces: List[bytes] = []
        while limit > 0:
            piece = os.read(handle, limit)
            if not piece:
                break
            pieces.append(piece)
            limit -= len(piece)
        return b"".join(pieces)
    finally:
        os.close(handle)


class LiveTree:
    """The ``/sys`` and ``/proc`` of the machine that runs this."""

    source = "live"

    def list(self, path: str) -> Tuple[str, ...]:
        """Names in a folder, sorted."""
        return tuple(sorted(os.listdir("/" + path)))

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Content of a file; ETIMEDOUT when the kernel holds it back for ``PATIENCE_S``."""
        if path.rpartition("/")[2] in GUARDED:
            return _read_patiently("/" + path, limit)
        return _read_regular("/" + path, limit)

    def link(self, path: str) -> str:
        """Text of a symbolic link."""
        return os.readlink("/" + path)


def _read_patiently(path: str, limit: int) -> bytes:
    """``_read_regular`` in a thread of its own, so that a stuck device cannot hold up the capture."""
    outcome: List[object] = []

    def attempt() -> None:
        try:
            outcome.append(_read_regular(path, limit))
        except OSError as error:
            outcome.append(error)

    worker = threading.Thread(target=attempt, daemon=True)
    worker.start()
    worker.join(PATIENCE_S)
    if not outcome:
        raise OSError(errno.ETIMEDOUT, "not readable in time", path)
    if isinstance(outcome[0], OSError):
        raise outcome[0]
    assert isinstance(outcome[0], bytes)
    return outcome[0]


class CopiedTree:
    """A copy of a machine's tree: a folder that holds ``sys``, and where it can ``proc`` and ``meta``.

    Nothing outside the folder is ever read, whatever its links say. Raises
    ``BadTree`` when the folder is none, or holds no ``sys``.
    """

    source = "tree"

    def __init__(self, root: str) -> None:
        self._shown = root
        self._root = os.path.realpath(root)
        self._inside: Dict[str, bool] = {}
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
        if ".." in path.split("/"):
            raise OSError(errno.EPERM, "leads out of the copied tree", path)
        full = os.path.join(self._root, path)
        folder = os.path.dirname(full)
        inside = self._inside.get(folder)
        if inside is None:
            real = os.path.realpath(folder)
            inside = real == self._root or real.startswith(self._root + os.sep)
            self._inside[folder] = inside
        if not inside:
            raise OSError(errno.EPERM, "leads out of the copied tree", path)
        return full

    def list(self, path: str) -> Tuple[str, ...]:
        """Names in a folder, sorted; a folder that is itself a link is not entered."""
        full = self._guarded(path)
        if os.path.islink(full):
            raise OSError(errno.ELOOP, "a link in place of a folder", path)
        return tuple(sorted(os.listdir(full)))

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Content of a regular file inside the root."""
        return _read_regular(self._guarded(path), limit)

    def link(self, path: str) -> str:
        """Text of a symbolic link; where it leads is never followed here."""
        return os.readlink(self._guarded(path))
