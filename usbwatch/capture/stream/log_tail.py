"""``/dev/kmsg`` followed from its end (Documentation/ABI/testing/dev-kmsg): one record a read, and it takes a poll."""

from __future__ import annotations

import errno
import os
import stat
from typing import List, Tuple

from usbwatch.capture.opening import READ_ONLY

__all__ = ["LogTail"]

_LARGEST = 8192
"""Bytes of a record at most; a smaller buffer is refused with EINVAL."""
_AT_ONCE = 10_000
"""Records taken at once at most, so that a log that is flooded cannot hold up everything else."""
_KMSG = (1, 11)
"""Major and minor number of the kernel's log (Documentation/admin-guide/devices.txt): "printk messages"."""


class LogTail:
    """The records that are written from now on.

    Raises ``OSError`` when the log may not be read, or something else stands in its place, as a container may have it:
    the null device, a plain file.
    """

    def __init__(self, path: str = "/dev/kmsg") -> None:
        self._handle = os.open(path, READ_ONLY)
        self.ended = False
        """Whether nothing more can come: a read gave the end of a file, which this one does not have."""
        try:
            _refuse_other(self._handle, path)
            os.lseek(self._handle, 0, os.SEEK_END)
        except OSError:
            os.close(self._handle)
            raise

    def fileno(self) -> int:
        """The descriptor to poll."""
        return self._handle

    def read(self) -> Tuple[str, int]:
        """The records that came, as the kernel gives them, and how many times it says that some are lost."""
        records: List[str] = []
        lost = 0
        while len(records) < _AT_ONCE:
            try:
                data = os.read(self._handle, _LARGEST)
            except OSError as error:
                if error.errno != errno.EPIPE:
                    break
                lost += 1
                continue
            if not data:
                self.ended = True
                break
            records.append(data.decode("ascii", "backslashreplace"))
        return "".join(records), lost

    def close(self) -> None:
        """Let the log go."""
        os.close(self._handle)


def _refuse_other(handle: int, path: str) -> None:
    status = os.fstat(handle)
    if not stat.S_ISCHR(status.st_mode) or (os.major(status.st_rdev), os.minor(status.st_rdev)) != _KMSG:
        raise OSError(errno.ENODEV, "something else stands in its place", path)
