"""A partition mounted for as long as it is written to, and not a moment longer (mount(2), umount2(2))."""

from __future__ import annotations

import contextlib
import ctypes
import os
import time
from collections.abc import Callable, Iterator

__all__ = ["mounted"]

_NOSUID, _NODEV, _NOEXEC = 2, 4, 8
"""Of linux/mount.h."""
_DETACH = 2
_BUSY_TIMES = 5


@contextlib.contextmanager
def mounted(node: str, folder: str) -> Iterator[str]:
    """The folder on which the FAT partition is mounted; raises ``OSError`` where it cannot be.

    It is unmounted however the block ends. Where that fails (the stick is gone), it is let go at least.
    """
    os.makedirs(folder, mode=0o700, exist_ok=True)
    libc = ctypes.CDLL(None, use_errno=True)
    _called(libc.mount, node.encode(), folder.encode(), b"vfat", ctypes.c_ulong(_flags()), b"")
    try:
        yield folder
    finally:
        _unmount(libc, folder)


def _flags() -> int:
    # Not synchronous: each file and the folder are made to last where that matters, and between a new name and its
    # size the kernel would then write the folder twice, so that a pull could leave an empty file of that name.
    return _NOSUID | _NODEV | _NOEXEC


def _unmount(libc: ctypes.CDLL, folder: str) -> None:
    for _ in range(_BUSY_TIMES):
        try:
            _called(libc.umount2, folder.encode(), 0)
        except OSError:
            time.sleep(0.2)
        else:
            return
    _called(libc.umount2, folder.encode(), _DETACH)


def _called(function: Callable[..., int], *arguments: object) -> None:
    if function(*arguments) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
