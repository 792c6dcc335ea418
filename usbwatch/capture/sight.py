"""What a bus reader looks through: a tree, with its gaps counted.

A sysfs attribute may be missing, refused or fail at any moment because a
device left; none of that ends a capture. ``Sight`` turns each into an empty
value and keeps count, so that coverage can say how much was not read.
"""

from __future__ import annotations

import errno
import posixpath
from typing import Dict, FrozenSet, Iterable, Iterator, List, Optional, Sequence, Tuple

from usbwatch.capture.tree import ATTRIBUTE_LIMIT, Tree
from usbwatch.model import Fact

__all__ = ["Sight", "named", "printable", "refused_names"]

_ABSENT = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ENODEV, errno.ENXIO, errno.ENODATA})
"""What the kernel answers when there is no such value, rather than when it may not be read."""


_LARGEST_INTEGER = 2**53 - 1
"""What a JSON number carries exactly everywhere (RFC 8785 section 3.2.2.3); no attribute needs more."""


def printable(data: bytes) -> str:
    r"""Text of an attribute: its final newline dropped, bytes that are no UTF-8 kept as ``\xNN``."""
    return data.rstrip(b"\n\0").decode("utf-8", "backslashreplace")


def named(name: str) -> str:
    r"""A file's name as text: bytes that are no UTF-8, which the system hands on as surrogates, kept as ``\xNN``."""
    if name.isascii():
        return name
    try:
        return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    except UnicodeEncodeError:  # a surrogate that stands for no byte
        return name.encode("utf-8", "backslashreplace").decode("utf-8")


def _decimal(text: str) -> Optional[int]:
    """The number that a text is, None for any other text or one beyond ``_LARGEST_INTEGER``."""
    if not text:
        return None
    try:
        number = int(text)
    except ValueError:
        return None
    return number if abs(number) <= _LARGEST_INTEGER else None


def refused_names(refused: Sequence[Tuple[str, int]]) -> Tuple[str, ...]:
    """Names of the files that rights kept from being read, sorted, each once: no path, for that holds bus numbers."""
    lacking_rights = {path.rpartition("/")[2] for path, error in refused if error in (errno.EACCES, errno.EPERM)}
    return tuple(sorted(named(name) for name in lacking_rights))


class Sight:
    """A tree read attribute by attribute.

    ``refused`` holds what could not be read and why; ``lost`` counts entries
    that name a device whose folder is not there.
    """

    def __init__(self, tree: Tree) -> None:
        self.tree = tree
        self.refused: List[Tuple[str, int]] = []
        self.lost = 0
        self._links: Dict[str, str] = {}
        self._listed: Dict[str, Tuple[str, ...]] = {}
        self._holds: Dict[str, FrozenSet[str]] = {}
        self._contents: Dict[str, bytes] = {}

    def entries(self, folder: str) -> Tuple[str, ...]:
        """Names in a folder; raises ``OSError`` when it cannot be listed."""
        known = self._listed.get(folder)
        if known is None:
            self._listed[folder] = known = self.tree.list(folder)
            self._holds[folder] = frozenset(known)
        return known

    def names(self, folder: str) -> Tuple[str, ...]:
        """Names in a folder, none when it cannot be listed."""
        try:
            return self.entries(folder)
        except OSError as error:
            self._note(folder, error)
            return ()

    def devices(self, folder: str) -> Iterator[Tuple[str, str]]:
        """Name and real folder of each entry of a bus or class; raises ``OSError`` when it cannot be listed.

        Devices below ``/sys/devices/virtual`` are made by programs and left out.
        """
        subsystem = folder[: -len("/devices")] if folder.startswith("sys/bus/") else folder
        for name in self.entries(folder):
            entry = f"{folder}/{name}"
            real = self.real(entry)
            if real.startswith("sys/devices/virtual/"):
                continue
            try:
                self.entries(real)
            except OSError:
                self.lost += real != entry
                continue
            if real != entry:
                # The link to it stands in its subsystem's folder, and its own link leads back there (sysfs-rules.rst).
                self._links.setdefault(f"{real}/subsystem", subsystem)
            yield name, real

    def _note(self, path: str, error: OSError) -> None:
        if error.errno not in _ABSENT:
            self.refused.append((path, error.errno or 0))

    def _known_names(self, folder: str) -> Optional[FrozenSet[str]]:
        """Names in a folder as far as they are known already; nothing is listed to find out."""
        names = self._holds.get(folder)
        if names is None:
            above, _, own = folder.rpartition("/")
            around = self._holds.get(above)
            if around is not None and own not in around:
                self._holds[folder] = names = frozenset()
        return names

    def blob(self, folder: str, name: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Bytes of an attribute, b"" where there is none."""
        names = self._known_names(folder)
        if names is not None and name not in names and "/" not in name:
            return b""
        return self._content(f"{folder}/{name}", limit)

    def _content(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Bytes of a file, read once however many readers ask, so that they agree on it; b"" when it cannot be read."""
        known = self._contents.get(path) if limit == ATTRIBUTE_LIMIT else None
        if known is None:
            try:
                known = self.tree.read(path, limit)
            except OSError as error:
                self._note(path, error)
                return b""
            if limit == ATTRIBUTE_LIMIT:
                self._contents[path] = known
        return known

    def text(self, folder: str, name: str) -> str:
        """Text of an attribute without its surrounding white space, "" where there is none."""
        data = self.blob(folder, name)
        return printable(data).strip() if data else ""

    def texts(self, folder: str, names: Iterable[str]) -> Iterator[Tuple[str, str]]:
        """Each of the named attributes that is there and not empty, and its text as ``text`` gives it."""
        known = self._known_names(folder)
        for name in names:
            if known is None or name in known or "/" in name:
                data = self._content(f"{folder}/{name}")
                text = printable(data).strip() if data else ""
                if text:
                    yield name, text

    def number(self, folder: str, name: str) -> Optional[int]:
        """A decimal attribute, None where there is none or it is no number."""
        return _decimal(self.text(folder, name))

    def facts(self, folder: str, *names: str) -> Dict[str, Fact]:
        """The named text attributes that are there and not empty."""
        return {name.rpartition("/")[2]: text for name, text in self.texts(folder, names)}

    def numbers(self, folder: str, *names: str) -> Dict[str, Fact]:
        """The named decimal attributes that are there."""
        found: Dict[str, Fact] = {}
        for name, text in self.texts(folder, names):
            number = _decimal(text)
            if number is not None:
                found[name.rpartition("/")[2]] = number
        return found

    def real(self, path: str) -> str:
        """Where a path leads after one link, worked out on the names alone.

        ``path`` itself when it is no link, or one that leads out of ``sys``.
        """
        known = self._links.get(path)
        if known is None:
            self._links[path] = known = self._followed(path)
        return known

    def _followed(self, path: str) -> str:
        folder, _, name = path.rpartition("/")
        names = self._known_names(folder)
        if names is not None and name not in names:
            return path
        try:
            target = self.tree.link(path)
        except OSError as error:
            if error.errno in (errno.EACCES, errno.EPERM):
                self._note(path, error)
            return path
        real = posixpath.normpath(f"{folder}/{target}")
        return real if real.startswith("sys/") and not target.startswith("/") else path

    def points_to(self, folder: str, name: str) -> str:
        """Last element of what a link names (``driver``, ``subsystem``), "" where there is no link."""
        path = f"{folder}/{name}"
        real = self.real(path)
        return "" if real == path else named(real.rpartition("/")[2])
