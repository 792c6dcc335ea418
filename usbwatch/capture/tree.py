"""What a machine is seen through: a tree of files to list, read and follow.

A reader sees the machine through ``Tree`` alone, with paths such as
``sys/bus/usb/devices``, so the same reader serves a live machine, a copied
root and a test's tree. Nothing here opens anything for writing, and no reader
asks for a file that does something when it is read (a USB port's ``disable``
wakes its hub; ``power/level`` logs a warning).
"""

from __future__ import annotations

import errno
import os
import re
import stat
from typing import Dict, List, Optional, Protocol, Tuple

from usbwatch.capture.files import read_regular
from usbwatch.capture.unread import MANIFEST, MANIFEST_LIMIT, TooMuchUnread, Unread, noted
from usbwatch.errors import BadTree

__all__ = ["ATTRIBUTE_LIMIT", "DEEPEST", "CopiedTree", "Tree"]

ATTRIBUTE_LIMIT = 65_536
"""Bytes read of one attribute at most: above sysfs' page and the longest descriptor file."""

DEEPEST = 100
"""Folders on the way to a file at most: sysfs' deepest devices need half of it."""

_PLAIN_TARGET = re.compile(r"(?:\.\./)*(?!/)(?!(?:.*/)?\.\.(?:/|\Z)).+\Z", re.DOTALL)
"""A link's target that can be worked out on names alone: relative, and never back up after a name."""


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


class CopiedTree:
    """A copy of a machine's tree: a folder that holds ``sys``, and where it can ``proc`` and ``meta``.

    Nothing outside the folder is ever read, whatever its links say. What its
    ``meta/unread.txt`` names answers with the unit's own error (``unread.py``).
    Raises ``BadTree`` when the folder is none, or holds no ``sys``.
    """

    source = "tree"

    def __init__(self, root: str) -> None:
        self._shown = root
        self._root = os.path.realpath(root)
        self._real: Dict[str, Optional[str]] = {"": self._root}
        self._check_root()
        self._unread = Unread({})
        try:
            self._unread = noted(self._manifest(), self._told_place)
        except TooMuchUnread as error:
            raise BadTree(root, str(error), "give a copy that a collector made") from None

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
            held = self._held_by(names)
            remedy = f"give its folder {held}" if held else "give the folder that holds the copied sys"
            raise BadTree(self._shown, "holds no folder named sys", remedy)
        try:
            inside = os.listdir(os.path.join(self._root, "sys"))
        except OSError as error:
            raise BadTree(self._shown, f"its sys cannot be read ({error.strerror})", "copy it again") from None
        if "bus" not in inside and "class" not in inside:
            raise BadTree(self._shown, "its sys holds neither bus nor class", "copy all of sys, with its links")

    def _manifest(self) -> bytes:
        try:
            return self.read(MANIFEST, MANIFEST_LIMIT)
        except OSError:
            return b""

    def _told_place(self, path: str) -> Optional[str]:
        """The real path of what a manifest names, below the root; None when it leads out."""
        try:
            return self._inside(self._guarded(path))
        except (OSError, ValueError):  # ValueError: a NUL
            return None

    def _inside(self, real: str) -> str:
        return real[len(self._root) + 1 :]

    def _held_by(self, names: List[str]) -> str:
        """The one name that is a folder which holds sys, "" when none or several are."""
        found = [name for name in names if os.path.isdir(os.path.join(self._root, name, "sys"))]
        return found[0] if len(found) == 1 else ""

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
        above, _, name = folder.rpartition("/")
        self._real[folder] = None  # What a link that leads back to itself comes to.
        holder = self._real.get(above) or self._above(above)
        if holder is not None and name != "..":
            full = f"{holder}/{name}"
            self._real[folder] = self._through(full) if _is_link(full) else full
        return self._real[folder]

    def _above(self, folder: str) -> Optional[str]:
        """``_followed`` for a folder on the way to another."""
        if folder.count("/") >= DEEPEST:
            raise OSError(errno.ENAMETOOLONG, "too many folders deep", folder)
        return self._followed(folder)

    def _through(self, link: str) -> Optional[str]:
        """Where a link leads whose own folder is real, None when that is out of the root or nowhere."""
        target = os.readlink(link)
        if not _PLAIN_TARGET.match(target):
            real = os.path.realpath(link)
            return real if self._holds(real) else None
        full = os.path.normpath(f"{os.path.dirname(link)}/{target}")
        return self._followed(self._inside(full)) if self._holds(full) else None

    def _holds(self, path: str) -> bool:
        return path == self._root or path.startswith(self._root + os.sep)

    def list(self, path: str) -> Tuple[str, ...]:
        """Names in a folder, sorted; a folder that is itself a link is not entered."""
        full = self._guarded(path)
        if (self._real.get(path) or self._followed(path)) != full:
            raise OSError(errno.ELOOP, "a link in place of a folder", path)
        inside = self._inside(full)
        self._unread.check(inside)
        unread = self._unread.names(inside)
        if not unread:
            return tuple(sorted(os.listdir(full)))
        try:
            return tuple(sorted(unread.union(os.listdir(full))))
        except FileNotFoundError:
            return tuple(sorted(unread))

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Content of a regular file inside the root."""
        full = self._guarded(path)
        self._unread.check(self._inside(full))
        return read_regular(full, limit)

    def link(self, path: str) -> str:
        """Text of a symbolic link; where it leads is never followed here."""
        full = self._guarded(path)
        try:
            return os.readlink(full)
        except FileNotFoundError:
            if self._unread.stands(self._inside(full)):
                raise OSError(errno.EINVAL, "no link", path) from None
            raise


def _is_link(path: str) -> bool:
    """Whether a symbolic link stands there."""
    try:
        return stat.S_ISLNK(os.lstat(path).st_mode)
    except OSError:
        return False
