"""A machine's tree in a tar archive, read into memory: nothing of it is ever unpacked to the disk."""

from __future__ import annotations

import errno
import os
import stat
from typing import BinaryIO, Dict, List, NamedTuple, Optional, Tuple, Union

from usbwatch.capture.opening import READ_ONLY
from usbwatch.capture.tar_entries import EntryKind, TarEntry, tar_entries
from usbwatch.capture.tree import ATTRIBUTE_LIMIT, DEEPEST, CopiedTree, Tree
from usbwatch.capture.unpacking import Unpacked
from usbwatch.capture.unread import MANIFEST, MANIFEST_LIMIT, MOST_NAMES, TooMuchUnread, Unread, noted, weight
from usbwatch.errors import BadTree

__all__ = ["LARGEST_ARCHIVE", "ArchiveTree", "opened_tree"]

LARGEST_ARCHIVE = 64 * 1024 * 1024
"""Bytes of an archive file at most, as of a capture file."""

_LARGEST_UNPACKED = 256 * 1024 * 1024
"""Bytes of an archive at most, once gzip is undone."""
_MOST_CONTENT = 64 * 1024 * 1024
"""Bytes of all files, names and link targets that are kept at most; a whole sysfs, drivers and log need 30 MB."""
_MOST_ENTRIES = MOST_NAMES
"""Files, folders and links at most, with the folders that are only named on the way to others."""
_MOST_REMEMBERED = 8 * 1024 * 1024
"""Bytes of paths with all links followed that are remembered; beyond that they are followed anew."""
_LONGEST_NAME, _LONGEST_PATH = 255, 4096
"""Bytes: NAME_MAX and PATH_MAX, linux/limits.h."""
_MOST_LINKS = 100
"""Links on the way to a file at most; the kernel follows 40 (path_resolution(7))."""

_BY_COLLECTOR = "give one that a collector made"


class _Link(NamedTuple):
    target: str


class _Odd(NamedTuple):
    """A device, a pipe: there, and never read."""

    why: str


class _Folder(Dict[str, "_Node"]):
    """What a folder holds, by name."""

    __slots__ = ()


_Node = Union[bytes, _Link, _Odd, _Folder]


def opened_tree(path: str) -> Tree:
    """The copied tree at ``path``: a folder, or a tar archive of one. Raises ``BadTree``."""
    return ArchiveTree(path) if os.path.isfile(path) else CopiedTree(path)  # noqa: PTH113 - as tree.py


class ArchiveTree:
    """A copy of a machine's tree in a tar archive (ustar, pax or GNU; plain or packed with gzip).

    Answers as ``CopiedTree`` does for the same tree in a folder; of several
    entries for one path the last counts, as when it is unpacked. A hard link
    is what it names, when that came before it. ``sys`` stands at the top or in
    the one folder that does. Links with an absolute target lead out. Raises
    ``BadTree`` for what is no such archive or goes beyond the limits above;
    ``shown`` is what that sentence calls it, ``path`` when not given.
    """

    source = "tree"

    def __init__(self, path: str, shown: str = "") -> None:
        self._shown = shown or path
        self._count = self._kept = self._remembered = 0
        self._top = _Folder()
        self._real: Dict[str, Optional[str]] = {"": ""}
        self._load(path)
        self._top = self._root()
        self._unread = Unread({})
        try:
            self._unread = noted(self._manifest(), self._told_place, _MOST_ENTRIES - self._count)
        except TooMuchUnread as error:
            raise self._bad(str(error)) from None

    def _bad(self, problem: str, remedy: str = _BY_COLLECTOR) -> BadTree:
        return BadTree(self._shown, problem, remedy)

    # --- Reading the archive in -------------------------------------------------------

    def _load(self, path: str) -> None:
        try:
            with os.fdopen(os.open(path, READ_ONLY), "rb") as file:
                self._fill(file)
        except OSError as error:
            raise self._bad(f"cannot be read ({error.strerror})", "check its permissions") from None

    def _fill(self, file: BinaryIO) -> None:
        status = os.fstat(file.fileno())
        if not stat.S_ISREG(status.st_mode):
            raise self._bad("is neither a folder nor a file", "give the folder that holds the copied sys")
        if status.st_size > LARGEST_ARCHIVE:
            raise self._bad(f"is larger than {LARGEST_ARCHIVE // 1024**2} MiB")
        for entry in tar_entries(Unpacked(file, self._shown, _LARGEST_UNPACKED), self._shown):
            self._put(entry)

    def _put(self, entry: TarEntry) -> None:
        parts = self._parts(entry.path)
        if not parts:
            return  # The top folder itself: "./".
        folder = self._way(parts[:-1], entry.path)
        name, there = parts[-1], folder.get(parts[-1])
        if isinstance(there, _Folder):
            if entry.kind is not EntryKind.FOLDER:
                raise self._bad(f"has {entry.path} as a folder and as something else")
            return
        self._count_one(name if there is None else "")
        folder[name] = self._node(entry)
        self._keep(folder[name])

    def _parts(self, path: str) -> List[str]:
        """The names on the way to an entry; none that could leave the archive or that no system can have."""
        parts = [part for part in path.split("/") if part not in ("", ".")]
        if "\0" in path:
            raise self._bad("has an entry with a NUL in its name")
        if path.startswith("/") or ".." in parts:
            raise self._bad(f"has an entry that leads out of it, {path}")
        if len(path) > _LONGEST_PATH or len(parts) > DEEPEST or any(len(part) > _LONGEST_NAME for part in parts):
            raise self._bad(f"has an entry with a longer path than any system's, {path[:60]}")
        return parts

    def _way(self, parts: List[str], path: str) -> _Folder:
        folder = self._top
        for part in parts:
            below = folder.get(part)
            if below is None:
                self._count_one(part)
                below = folder[part] = _Folder()
            if not isinstance(below, _Folder):
                raise self._bad(f"has an entry below something that is no folder, {path}")
            folder = below
        return folder

    def _count_one(self, name: str) -> None:
        """Count an entry that is new under this name; "" for one that takes another's place."""
        self._count += 1 if name else 0
        self._bear(weight(name))
        if self._count > _MOST_ENTRIES:
            raise self._bad(f"has more than {_MOST_ENTRIES} entries")

    def _node(self, entry: TarEntry) -> _Node:
        if entry.kind is EntryKind.FOLDER:
            return _Folder()
        if entry.kind is EntryKind.LINK:
            if len(entry.target) > _LONGEST_PATH:
                raise self._bad(f"has a link with a longer target than any system's, {entry.path[:60]}")
            return _Link(entry.target)
        if entry.kind is EntryKind.SAME:
            named = self._at(self._parts(entry.target))
            return named if isinstance(named, (bytes, _Link)) else _Odd("a hard link to nothing")
        return entry.content if entry.kind is EntryKind.FILE else _Odd("not a regular file")

    def _keep(self, node: _Node) -> None:
        if isinstance(node, bytes):
            self._bear(len(node))
        elif isinstance(node, _Link):
            self._bear(weight(node.target))

    def _bear(self, more: int) -> None:
        self._kept += more
        if self._kept > _MOST_CONTENT:
            raise self._bad(f"has files of more than {_MOST_CONTENT // 1024**2} MiB together")

    def _root(self) -> _Folder:
        """The folder that holds ``sys``: the top, or the one folder there that has it."""
        holders = [node for node in self._top.values() if isinstance(node, _Folder) and "sys" in node]
        root = holders[0] if "sys" not in self._top and len(holders) == 1 else self._top
        tree = root.get("sys")
        if tree is None:
            raise self._bad("holds no folder named sys", "make it of the folder that holds the copied sys")
        if not isinstance(tree, _Folder):
            is_link = isinstance(tree, _Link)
            raise self._bad(f"its sys is a {'link' if is_link else 'file'}", "copy the folder itself")
        if "bus" not in tree and "class" not in tree:
            raise self._bad("its sys holds neither bus nor class", "copy all of sys, with its links")
        return root

    def _manifest(self) -> bytes:
        try:
            return self.read(MANIFEST, MANIFEST_LIMIT)
        except OSError:
            return b""

    def _told_place(self, path: str) -> Optional[str]:
        try:
            return self._guarded(path)
        except OSError:
            return None

    # --- Following links ----------------------------------------------------------------

    def _at(self, parts: List[str]) -> Optional[_Node]:
        """What stands at a real path, None when nothing does."""
        node: _Node = self._top
        for part in parts:
            below = node.get(part) if isinstance(node, _Folder) else None
            if below is None:
                return None
            node = below
        return node

    def _guarded(self, path: str) -> str:
        """The real path, once the folder it lies in is known to lie inside; else EPERM."""
        folder, _, name = path.rpartition("/")
        real = self._followed(folder)
        if real is None or name == "..":
            raise OSError(errno.EPERM, "leads out of the copied tree", path)
        return f"{real}/{name}" if real else name

    def _followed(self, folder: str) -> Optional[str]:
        """The folder with all links on its way followed, None when that leads out or in circles."""
        if folder not in self._real:
            if folder.count("/") > DEEPEST:
                raise OSError(errno.ENAMETOOLONG, "too many folders deep", folder)
            parts = folder.split("/")
            real = None if ".." in parts else self._resolved(parts)
            self._remember(folder, real)
            return real
        return self._real[folder]

    def _remember(self, folder: str, real: Optional[str]) -> None:
        self._remembered += weight(folder) + weight(real or "")
        if self._remembered > _MOST_REMEMBERED:
            self._real, self._remembered = {"": ""}, 0
        self._real[folder] = real

    def _resolved(self, asked: List[str]) -> Optional[str]:
        parts: List[str] = []
        nodes: List[_Node] = [self._top]
        ahead, links = asked[::-1], 0
        while ahead:
            name = ahead.pop()
            if name == ".." and not parts:
                return None
            if name == "..":
                del parts[-1], nodes[-1]
            elif name not in ("", "."):
                holder = nodes[-1]
                node = holder.get(name) if isinstance(holder, _Folder) else None
                if isinstance(node, _Link):
                    links += 1
                    if links > _MOST_LINKS or node.target.startswith("/"):
                        return None
                    ahead += node.target.split("/")[::-1]
                else:
                    if len(parts) > DEEPEST:
                        return None  # Nothing in the archive stands as deep.
                    parts.append(name)
                    nodes.append(_NOTHING if node is None else node)
        return "/".join(parts)

    def _found(self, real: str) -> _Node:
        """What stands at a real path; raises ENOENT, or ENOTDIR where something else stands in the way."""
        parts = real.split("/") if real else []
        node: _Node = self._top
        for part in parts:
            if not isinstance(node, _Folder):
                raise OSError(errno.ENOTDIR, "no folder", real)
            below = node.get(part)
            if below is None:
                raise OSError(errno.ENOENT, "not in the archive", real)
            node = below
        return node

    # --- The tree -------------------------------------------------------------------------

    def list(self, path: str) -> Tuple[str, ...]:
        """Names in a folder, sorted; a folder that is itself a link is not entered."""
        real = self._guarded(path)
        if self._followed(path) != real:
            raise OSError(errno.ELOOP, "a link in place of a folder", path)
        self._unread.check(real)
        unread = self._unread.names(real)
        try:
            node = self._found(real)
        except FileNotFoundError:
            if not unread:
                raise
            return tuple(sorted(unread))
        if not isinstance(node, _Folder):
            raise OSError(errno.ENOTDIR, "no folder", path)
        return tuple(sorted(unread.union(node)))

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        """Content of a regular file."""
        real = self._guarded(path)
        self._unread.check(real)
        node = self._found(real)
        if isinstance(node, bytes):
            return node[:limit]
        if isinstance(node, _Link):
            raise OSError(errno.ELOOP, "a link in place of a file", path)
        raise OSError(errno.EINVAL, "not a regular file", path)

    def link(self, path: str) -> str:
        """Text of a symbolic link; where it leads is never followed here."""
        real = self._guarded(path)
        try:
            node = self._found(real)
        except FileNotFoundError:
            if not self._unread.stands(real):
                raise
            node = _NOTHING
        if not isinstance(node, _Link):
            raise OSError(errno.EINVAL, "no link", path)
        return node.target


_NOTHING = _Odd("nothing")
