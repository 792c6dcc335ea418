"""A tree in memory: for places and odd answers that no tree on disk can give."""

from __future__ import annotations

import errno
import posixpath

__all__ = ["FakeTree"]


class FakeTree:
    """Implements the whole of ``usbwatch.capture.Tree`` over two dicts."""

    source = "tree"

    def __init__(self, files: dict[str, bytes], links: dict[str, str], errors: dict[str, int] | None = None) -> None:
        self.files = files
        self.links = links
        self.errors = errors or {}

    def _check(self, path: str) -> None:
        if path in self.errors:
            raise OSError(self.errors[path], "as the test wants it", path)

    def list(self, path: str) -> tuple[str, ...]:
        self._check(path)
        start = f"{path}/"
        known = (*self.files, *self.links)
        names = {entry[len(start) :].split("/")[0] for entry in known if entry.startswith(start)}
        if not names:
            raise OSError(errno.ENOENT, "no such folder", path)
        return tuple(sorted(names))

    def read(self, path: str, limit: int = 65_536) -> bytes:
        self._check(path)
        if path not in self.files:
            raise OSError(errno.ENOENT, "no such file", path)
        return self.files[path][:limit]

    def link(self, path: str) -> str:
        self._check(path)
        if path not in self.links:
            raise OSError(errno.EINVAL, "no link", path)
        return self.links[path]

    def device(self, folder: str, subsystem: str, **attributes: str) -> None:
        """Add a device: its ``subsystem`` link and its attributes."""
        self.links[f"{folder}/subsystem"] = posixpath.relpath(f"sys/{subsystem}", folder)
        for name, text in attributes.items():
            self.files[f"{folder}/{name}"] = f"{text}\n".encode()
