"""Regular files read to the end, or to a limit: nothing else is read, and no read waits."""

from __future__ import annotations

import errno
import os
import stat
from typing import List

from usbwatch.capture.opening import READ_ONLY_NO_LINK

__all__ = ["read_regular", "read_sysfs"]

_PAGE = 4096
"""Bytes of the smallest page there is: sysfs gives a page of a file at one read at most."""


def read_regular(path: str, limit: int) -> bytes:
    """At most ``limit`` bytes of a file anywhere; raises ``OSError`` (EINVAL) for anything but a regular file."""
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


def read_sysfs(path: str, limit: int) -> bytes:
    """At most ``limit`` bytes of a file of a mounted sysfs, which holds none but regular ones.

    Whatever length the file says, the first read gives all that is there, up to a page
    (Documentation/filesystems/sysfs.rst: a page is what an attribute may hold, and ``show`` is called once).
    """
    handle = os.open(path, READ_ONLY_NO_LINK)
    try:
        content = os.read(handle, limit)
        return content if len(content) < _PAGE else content + _rest(handle, limit - len(content))
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
