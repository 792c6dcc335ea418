"""An image written to a device and read back: it is either all there, or it is said that it is not."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from usbwatch.errors import BadImage, CannotWriteStick
from usbwatch.stick.devices import Target, sequence_of
from usbwatch.stick.gpt import HEAD, SECTOR, TAIL, NotWholeError, Table, fitted, read_table
from usbwatch.stick.image import DISK_GUID

__all__ = ["checked_image", "refuse_small", "write_image"]

_CHUNK = 4 << 20
_BLKRRPART = 0x125F
_BLKFLSBUF = 0x1261
"""Requests to a block device (``<linux/fs.h>``): read the partition table anew; forget what is kept in memory of it."""

_AGAIN = "it is no whole stick now; plug it in and write it again"

Tell = Callable[[int, int], None]
"""Is told how many bytes of how many are done."""


def checked_image(image: str) -> Table:
    """The partition table of an image that a build of usbwatch made; raises ``BadImage`` for anything else."""
    remedy = "build one with: usbwatch stick IMAGE"
    try:
        with open(image, "rb", opener=_without_waiting) as file:
            status = os.fstat(file.fileno())
            if not stat.S_ISREG(status.st_mode):
                raise BadImage(image, "is no plain file, so no image of a stick", remedy)
            table = read_table(file.read(HEAD))
    except NotWholeError as error:
        raise BadImage(image, f"is no image of a bench stick: it {error}", remedy) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a name that a file can have"
        raise BadImage(image, f"cannot be read ({reason})", remedy) from None
    if table.disk_guid != DISK_GUID:
        raise BadImage(image, "is no image of a bench stick: its partition table is another one's", remedy)
    if status.st_size != table.sectors * SECTOR:
        problem = f"is cut short: it has {status.st_size} bytes of {table.sectors * SECTOR}"
        if status.st_size > table.sectors * SECTOR:
            problem = "is longer than its own partition table says"
        raise BadImage(image, problem, "build it anew, with --force")
    return table


def _without_waiting(path: str, flags: int) -> int:
    """Opened; a pipe to which nobody writes would else be waited for."""
    return os.open(path, flags | os.O_NONBLOCK)


def refuse_small(target: Target, table: Table) -> None:
    """Raise ``CannotWriteStick`` for a device on which an image with this table has no room."""
    needed = table.sectors * SECTOR
    if target.size < needed:
        problem = f"is too small: it has {target.size // 1_000_000} MB, and the image {needed // 1_000_000} MB"
        raise CannotWriteStick(target.path, problem, "take a larger stick")


def write_image(image: str, target: Target, *, tell: Tell = lambda _done, _all: None) -> str:
    """Write an image over all that is on a device, and read it back; the SHA-256 of what was written.

    The table's copy goes to the end of the device. The beginning is written
    last, once all the rest was read back: a device that was pulled out in the
    middle, or that does not keep what it is given, does not look like a stick.
    Raises ``CannotWriteStick``; also when what is read back differs.
    """
    table = checked_image(image)
    refuse_small(target, table)
    with _taken(target) as device:
        try:
            return _written(image, table, device, target, tell)
        except OSError as error:
            pulled = error.errno in (errno.EIO, errno.ENODEV, errno.ENXIO, errno.ENOMEDIUM)
            why = "was pulled out, or fails" if pulled else "cannot be written"
            raise CannotWriteStick(target.path, f"{why} ({error.strerror})", _AGAIN) from error


@contextlib.contextmanager
def _taken(target: Target) -> Iterator[int]:
    """The device, ours alone: the kernel refuses it while anything of it is mounted or otherwise held (open(2))."""
    try:
        device = os.open(target.path, os.O_RDWR | os.O_EXCL | os.O_CLOEXEC)
    except OSError as error:
        raise CannotWriteStick(target.path, *_not_opened(error)) from error
    try:
        status = os.fstat(device)
        if not stat.S_ISBLK(status.st_mode) or (os.major(status.st_rdev), os.minor(status.st_rdev)) != target.number:
            raise CannotWriteStick(target.path, "is another device than a moment ago", "look again, and name it anew")
        if os.lseek(device, 0, os.SEEK_END) != target.size:
            raise CannotWriteStick(target.path, "has another size than a moment ago", "look again, and name it anew")
        if sequence_of(target.number) != target.sequence:
            # Numbers and names are given again: another stick of the same size would pass for this one.
            problem = "was pulled out, and something else is plugged in"
            raise CannotWriteStick(target.path, problem, "look again, and name it anew")
        yield device
    finally:
        with contextlib.suppress(OSError):
            os.close(device)


def _not_opened(error: OSError) -> tuple[str, str]:
    if error.errno in (errno.EACCES, errno.EPERM):
        return "may not be written by you", "run the same command with sudo; the image stays as it is"
    if error.errno == errno.EBUSY:
        return "is in use by the system", "unmount what is on it, and close what has it open"
    if error.errno == errno.EROFS:
        return "is write-protected", "look for a switch on the stick, or take another one"
    return f"cannot be opened ({error.strerror})", "plug it in again, and see that it is the right one"


def _written(image: str, table: Table, device: int, target: Target, tell: Tell) -> str:
    size, path = target.size, target.path
    head, tail = fitted(table, size // SECTOR)
    body_end, tail_at = table.sectors * SECTOR - TAIL, size // SECTOR * SECTOR - TAIL
    total = 2 * body_end
    with Path(image).open("rb") as file:
        # Also the copy of a table that was there: firmware may mend the beginning by it (UEFI Specification, 5.3.2).
        for offset, length in ((0, HEAD), (tail_at, TAIL)):
            _put(device, offset, bytes(length))
        os.fsync(device)
        digest = hashlib.sha256(head)
        for offset, chunk in _pieces(file, body_end):
            digest.update(chunk)
            _put(device, offset, chunk)
            tell(offset + len(chunk), total)
        digest.update(tail)
        _put(device, tail_at, tail)
        os.fsync(device)
    _forget(device)
    if _read_back(device, head, (body_end, tail_at), tell) != digest.digest():
        raise CannotWriteStick(path, *_OTHER_CONTENT)
    _put(device, 0, head)
    os.fsync(device)
    _forget(device)
    if os.pread(device, HEAD, 0) != head:
        raise CannotWriteStick(path, *_OTHER_CONTENT)
    _tell_of_partitions(device)
    return digest.hexdigest()


_OTHER_CONTENT = ("gives back something else than was written to it", "take another stick")


def _forget(device: int) -> None:
    """Have what is read next come from the device, and not from memory."""
    import fcntl  # not there on every system that can load this

    fcntl.ioctl(device, _BLKFLSBUF)


def _tell_of_partitions(device: int) -> None:
    import fcntl

    with contextlib.suppress(OSError):  # a loop device may not want to know of partitions
        fcntl.ioctl(device, _BLKRRPART)


def _pieces(file: BinaryIO, end: int) -> Iterator[tuple[int, bytes]]:
    """What lies between the table at the beginning and its copy at the end, with its place."""
    file.seek(HEAD)
    offset = HEAD
    while offset < end:
        chunk = file.read(min(_CHUNK - offset % _CHUNK, end - offset))
        if not chunk:
            raise OSError(errno.EIO, "the image became shorter")
        yield offset, chunk
        offset += len(chunk)


def _put(device: int, offset: int, content: bytes) -> None:
    view = memoryview(content)
    while view:
        done = os.pwrite(device, view, offset)
        view, offset = view[done:], offset + done


def _read_back(device: int, head: bytes, places: tuple[int, int], tell: Tell) -> bytes:
    """The digest of ``head``, which is not written yet, and of what is on the device behind it.

    ``places``: where the partitions end, and where the table's copy begins.
    """
    body_end, tail_at = places
    digest = hashlib.sha256(head)
    offset = HEAD
    while offset < body_end:
        chunk = os.pread(device, min(_CHUNK, body_end - offset), offset)
        if not chunk:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        digest.update(chunk)
        offset += len(chunk)
        tell(body_end + offset, 2 * body_end)
    digest.update(os.pread(device, TAIL, tail_at))
    return digest.digest()
