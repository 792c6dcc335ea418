"""What a collector could not read on the unit, as it noted it: the manifest ``meta/unread.txt`` of a copied tree.

One line each: a path, a tab, and the name of the error (``EACCES``) or the
system's own message for it. A copy that answered "no such file" for these
would make "not permitted" into "not there"; so they are answered with the
error that the unit itself gave, and coverage comes out as in a live look.
"""

from __future__ import annotations

import errno
from typing import Callable, Dict, FrozenSet, Iterator, Optional, Set, Tuple

__all__ = ["MANIFEST", "MANIFEST_LIMIT", "MOST_NAMES", "TooMuchUnread", "Unread", "UnreadThere", "noted", "weight"]

MANIFEST = "meta/unread.txt"
MANIFEST_LIMIT = 4 * 1024 * 1024
"""Bytes of a manifest that are read at most: a tree of which nothing could be read needs less."""

MOST_NAMES = 200_000
"""Files that could not be read, and folders on the way to them, at most; a copy is one of no more entries either."""

_MOST_WEIGHT = 16 * 1024 * 1024
"""Bytes of their paths together at most. 50,000 paths of sysfs with the links on their way followed need 5 MB."""
_MOST_LINES = 50_000
_MOST_FOLDERS = 100
_LONGEST_PATH = 4096
"""Bytes of a path at most (PATH_MAX, linux/limits.h)."""

_MESSAGES = {
    "permission denied": errno.EACCES,
    "operation not permitted": errno.EPERM,
    "input/output error": errno.EIO,
    "i/o error": errno.EIO,
    "no such device": errno.ENODEV,
    "no such device or address": errno.ENXIO,
    "no data available": errno.ENODATA,
    "device or resource busy": errno.EBUSY,
    "resource busy": errno.EBUSY,
    "connection timed out": errno.ETIMEDOUT,
    "operation timed out": errno.ETIMEDOUT,
    "protocol error": errno.EPROTO,
    "broken pipe": errno.EPIPE,
    "invalid argument": errno.EINVAL,
    "resource temporarily unavailable": errno.EAGAIN,
    "is a directory": errno.EISDIR,
    "no such file or directory": errno.ENOENT,
    "not a directory": errno.ENOTDIR,
}
"""Messages of the GNU C library and of musl for what reading a sysfs file answers (strerror(3); from memory)."""

_BY_NAME = {name: number for number, name in errno.errorcode.items()}


class TooMuchUnread(Exception):
    """A manifest names more than any unit has; ``str()`` is what is wrong with it, without a subject."""


class UnreadThere(OSError):
    """What the unit itself answered when its collector tried to read; the copy has nothing to say against it."""


class Unread:
    """Paths that could not be read on the unit, each with its error, and the folders on the way to them.

    Raises ``TooMuchUnread`` for more than ``most`` of both, or for longer ones than any unit's.
    """

    def __init__(self, errors: Dict[str, int], most: int = MOST_NAMES) -> None:
        self._errors: Dict[str, int] = {}
        self._names: Dict[str, Set[str]] = {}
        self._count, self._weight, self._most = 0, 0, most
        for path, error in errors.items():
            self.add(path, error)

    def add(self, path: str, error: int) -> None:
        """Take up one more; of two errors for one path the last counts."""
        if path not in self._errors:
            self._bear(path)
        self._errors[path] = error
        while path:
            path, _, name = path.rpartition("/")
            if path not in self._names:
                self._bear(path)
                self._names[path] = set()
            elif name in self._names[path]:
                break
            self._names[path].add(name)

    def _bear(self, path: str) -> None:
        self._count += 1
        self._weight += weight(path)
        if self._count > self._most or self._weight > _MOST_WEIGHT:
            raise TooMuchUnread(f"its {MANIFEST} names more than a unit has")

    def names(self, folder: str) -> FrozenSet[str]:
        """Names in a folder that a listing on the unit had shown."""
        return frozenset(self._names.get(folder, ()))

    def check(self, path: str) -> None:
        """Raise the unit's own answer where there was one; ``path`` is a real one, without links on its way."""
        error = self._errors.get(path)
        if error is not None:
            raise UnreadThere(error, "could not be read on the unit", path)

    def stands(self, path: str) -> bool:
        """Whether something stood there that could not be read, or a folder on the way to such."""
        return path in self._errors or path in self._names


def weight(text: str) -> int:
    """Bytes that a text takes in memory at most, but for a constant (PEP 393)."""
    return len(text) if text.isascii() else 4 * len(text)


def noted(content: bytes, real: Callable[[str], Optional[str]], most: int = MOST_NAMES) -> Unread:
    """What a manifest says; ``real`` is a path with the links on its way followed, None when that leads out.

    Lines that say nothing, and those of files that were not there at all, are
    passed over. Raises ``TooMuchUnread`` as ``Unread`` does.
    """
    unread = Unread({}, most)
    for path, error in _lines(content):
        place = real(path)
        if place:
            unread.add(place, error)
    return unread


def _lines(content: bytes) -> Iterator[Tuple[str, int]]:
    for line in content[:MANIFEST_LIMIT].split(b"\n", _MOST_LINES)[:_MOST_LINES]:
        told, _, why = line.decode("utf-8", "surrogateescape").rstrip("\r").partition("\t")
        path = "/".join(part for part in told.split("/") if part not in ("", "."))
        error = _number(why)
        plain = ".." not in path.split("/") and path.count("/") < _MOST_FOLDERS and len(path) <= _LONGEST_PATH
        if path and plain and error not in (errno.ENOENT, errno.ENOTDIR):
            yield path, error


def _number(why: str) -> int:
    """The error that a name or a message means (``cat: …: Permission denied`` too); EIO for any other words."""
    word = why.strip()
    return _BY_NAME.get(word) or _MESSAGES.get(word.rpartition(": ")[2].lower()) or errno.EIO
