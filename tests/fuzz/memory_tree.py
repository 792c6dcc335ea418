"""A machine's tree in memory, of which any file, link or error can be put otherwise before it is looked at."""

from __future__ import annotations

import errno
import os
from collections.abc import Mapping
from pathlib import Path

__all__ = ["MemoryTree", "copied"]


class MemoryTree:
    """Implements ``usbwatch.capture.Tree``: ``content`` by path, bytes for a file, text for a link's target.

    A number is the error with which everything that is asked of a path is answered.
    """

    source = "tree"

    def __init__(self, content: Mapping[str, bytes | str | int]) -> None:
        self._content = content
        self._names: dict[str, set[str]] = {}
        for path in content:
            above = path
            while above:
                above, _, name = above.rpartition("/")
                names = self._names.setdefault(above, set())
                if name in names:
                    break
                names.add(name)

    def _at(self, path: str) -> bytes | str | None:
        found = self._content.get(path)
        if isinstance(found, int):
            raise OSError(found, os.strerror(found), path)
        return found

    def list(self, path: str) -> tuple[str, ...]:
        self._at(path)
        if path not in self._names:
            raise OSError(errno.ENOENT, "no such folder", path)
        return tuple(sorted(self._names[path]))

    def read(self, path: str, limit: int = 65_536) -> bytes:
        found = self._at(path)
        if not isinstance(found, bytes):
            raise OSError(errno.ENOENT if found is None else errno.ELOOP, "no such file", path)
        return found[:limit]

    def link(self, path: str) -> str:
        found = self._at(path)
        if not isinstance(found, str):
            raise OSError(errno.EINVAL, "no link", path)
        return found


def copied(root: Path) -> dict[str, bytes | str | int]:
    """What a tree on the disk holds, as ``MemoryTree`` takes it."""
    found: dict[str, bytes | str | int] = {}
    for folder, names, files in os.walk(root):
        for name in [*names, *files]:
            path = Path(folder, name)
            shown = str(path.relative_to(root))
            if path.is_symlink():
                found[shown] = str(path.readlink())
            elif path.is_file():
                found[shown] = path.read_bytes()
    return found
