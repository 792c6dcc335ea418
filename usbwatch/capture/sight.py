"""What a bus reader looks through: a tree, with its gaps counted.

A sysfs attribute may be missing, refused or fail at any moment because a
device left; none of that ends a capture. ``Sight`` turns each into an empty
value and keeps count, so that coverage can say how much was not read.
"""

from __future__ import annotations

import errno
import posixpath
from typing import Dict, Iterator, List, Optional, Tuple

from usbwatch.capture.tree import ATTRIBUTE_LIMIT, Tree
from usbwatch.model import Fact

__all__ = ["Sight", "named", "printable"]

_ABSENT = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ENODEV, errno.ENXIO, errno.ENODATA})
"""What the kernel answers when there is no such value, rather than when it may not be read."""


_LARGEST_INTEGER = 2**53 - 1
"""What a JSON number carries exactly everywhere (RFC 8785 section 3.2.2.3); no attribute needs more."""


def printable(data: bytes) -> str:
    r"""Text of an attribute: its final newline dropped, bytes that are no UTF-8 kept as ``\xNN``."""
    return data.rstrip(b"\n\0").decode("utf-8", "backslashreplace")


def named(name: str) -> str:
    r"""A file's name as text: bytes that are no UTF-8, which the system hands on as surrogates, kept as ``\xNN``."""
    try:
        return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    except UnicodeEncodeError:  # a surrogate that stands for no byte
        return name.encode("utf-8", "backslashreplace").decode("utf-8")


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

    def entries(self, folder: str) -> Tuple[str, ...]:
        """Names in a folder; raises ``OSError`` when it cannot be listed."""
        return self.tree.list(folder)

    def names(self, folder: str) -> Tuple[str, ...]:
        """Names in a folder, none when it cannot be listed."""
        try:
            return self.tree.list(folder)
        except OSError as error:
            self._note(folder, error)
            return ()

    def devices(self, folder: str) -> Iterator[Tuple[str, str]]:
        """Name and real folder of each entry of a bus or class; raises ``OSError`` when it cannot be listed.

        Devices below ``/sys/devices/virtual`` are made by programs and left out.
        """
        for name in self.tree.list(folder):
            entry = f"{folder}/{name}"
            real = self.real(entry)
            if real.startswith("sys/devices/virtual/"):
                continue
            try:
                self.tree.list(real)
            except OSError:
                self.lost += real != entry
                continue
            yield name, real

    def _note(self, path: str, error: OSError) -> None:
        if error.errno not in _ABSENT:
            self.refused.append((path, error.errno or 0))

    def blob(self, folder: str, name: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Bytes of an attribute, b"" where there is none."""
        path = f"{folder}/{name}"
        try:
            return self.tree.read(path, limit)
        except OSError as error:
            self._note(path, error)
            return b""

    def text(self, folder: str, name: str) -> str:
        """Text of an attribute without its surrounding white space, "" where there is none."""
        return printable(self.blob(folder, name)).strip()

    def number(self, folder: str, name: str) -> Optional[int]:
        """A decimal attribute, None where there is none or it is no number."""
        try:
            number = int(self.text(folder, name))
        except ValueError:
            return None
        return number if abs(number) <= _LARGEST_INTEGER else None

    def facts(self, folder: str, *names: str) -> Dict[str, Fact]:
        """The named text attributes that are there and not empty."""
        found = ((name, self.text(folder, name)) for name in names)
        return {name.rpartition("/")[2]: text for name, text in found if text}

    def numbers(self, folder: str, *names: str) -> Dict[str, Fact]:
        """The named decimal attributes that are there."""
        found = ((name, self.number(folder, name)) for name in names)
        return {name.rpartition("/")[2]: number for name, number in found if number is not None}

    def real(self, path: str) -> str:
        """Where a path leads after one link, worked out on the names alone.

        ``path`` itself when it is no link, or one that leads out of ``sys``.
        """
        known = self._links.get(path)
        if known is None:
            try:
                known = posixpath.normpath(posixpath.join(posixpath.dirname(path), self.tree.link(path)))
            except OSError as error:
                if error.errno in (errno.EACCES, errno.EPERM):
                    self._note(path, error)
                known = path
            self._links[path] = known = known if known.startswith("sys/") else path
        return known

    def points_to(self, folder: str, name: str) -> str:
        """Last element of what a link names (``driver``, ``subsystem``), "" where there is no link."""
        path = f"{folder}/{name}"
        real = self.real(path)
        return "" if real == path else named(posixpath.basename(real))
