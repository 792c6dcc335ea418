"""The stick as something that can be opened for a moment, and why it cannot, in one plain sentence."""

from __future__ import annotations

import contextlib
import errno
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Protocol

from usbwatch.errors import UnwritableOutput
from usbwatch.onboard.mounting import mounted
from usbwatch.onboard.partition import data_partition
from usbwatch.safe import safe

__all__ = ["FolderStick", "NoStickError", "PartitionStick", "Stick", "why_not"]

_MOUNTED_AT = "/run/usbwatch-stick"


class NoStickError(Exception):
    """The stick is not there, or takes nothing; ``str()`` is one sentence."""


class Stick(Protocol):
    """Where captures are kept."""

    def is_there(self) -> bool:
        """Whether it is worth trying."""

    def opened(self) -> AbstractContextManager[str]:
        """Its folder, for as long as something is read or written in it; raises ``NoStickError`` or ``OSError``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartitionStick:
    """The data partition with this GUID."""

    guid: str
    root: str = ""

    def is_there(self) -> bool:
        """Whether a stick with that partition is plugged in."""
        return data_partition(self.guid, self.root) is not None

    @contextlib.contextmanager
    def opened(self) -> Iterator[str]:
        """Mounted, for as long as the context lasts."""
        found = data_partition(self.guid, self.root)
        if found is None:
            raise NoStickError("the stick is not plugged in, or its data partition is not there")
        if found.read_only:
            raise NoStickError("the stick is write-protected: move its switch")
        with mounted(found.node, f"{self.root}{_MOUNTED_AT}") as folder:
            yield folder


@dataclass(frozen=True, slots=True, kw_only=True)
class FolderStick:
    """A folder in its place, where the program is tried on another machine."""

    folder: str

    def is_there(self) -> bool:
        """Whether the folder is there."""
        import os

        return os.path.isdir(self.folder)  # noqa: PTH112 - as the partition's

    @contextlib.contextmanager
    def opened(self) -> Iterator[str]:
        """The folder itself."""
        if not self.is_there():
            raise NoStickError(f"there is no folder {safe(self.folder)}")
        yield self.folder


_WHY = {
    errno.ENOSPC: "the stick is full: make room on it at the bench, or delete captures that were taken in",
    errno.EROFS: "the stick takes no writing: move its switch, or check its file system at the bench",
    errno.EACCES: "the stick takes no writing",
    errno.EPERM: "the stick takes no writing",
    errno.ENODEV: "the stick was pulled out",
    errno.ENOENT: "the stick was pulled out",
    errno.ENXIO: "the stick was pulled out",
    errno.ENOMEDIUM: "the stick was pulled out",
    errno.EIO: "the stick was pulled out, or is failing",
    errno.EINVAL: "the stick's data partition cannot be read as FAT: check it at the bench",
    errno.EUCLEAN: "the stick's file system is damaged: check it at the bench",
}


def why_not(error: Exception) -> str:
    """What kept it from being saved, as a clause."""
    if isinstance(error, NoStickError):
        return str(error)
    cause = error.__cause__ if isinstance(error, UnwritableOutput) else error
    if not isinstance(cause, OSError):
        return f"something failed: {type(error).__name__}: {safe(str(error), 200)}"
    return _WHY.get(cause.errno or 0, f"the stick could not be written: {safe(cause.strerror or str(cause), 100)}")
