"""Files written to a stick: whole or not at all, never in place of another, on any file system.

A stick may be full, write-protected, or pulled out at any moment, and its file
system (FAT, exFAT) may have neither links nor modes.
"""

from __future__ import annotations

import os
from typing import List, Tuple

from usbwatch.capture.opening import NO_TRANSLATION
from usbwatch.errors import UnwritableOutput

__all__ = ["check_writable", "write_new"]

_MOST_NUMBERS = 1000
_REMEDY = "give another place with -o"
_REMEDIES = {
    "ENOSPC": "free some space on it, and run this again",
    "EROFS": "move its write-protect switch, or mount it for writing, and run this again",
    "EACCES": "run this as root, or give another place with -o",
    "EPERM": "run this as root, or give another place with -o",
    "ENOENT": "was the stick pulled out? Put it in and run this again",
    "ENODEV": "was the stick pulled out? Put it in and run this again",
    "EIO": "was the stick pulled out, or is it failing? Try another one",
}


def check_writable(folder: str) -> None:
    """Raise ``UnwritableOutput`` when nothing can be written in ``folder``, as far as that is known beforehand."""
    if not os.path.isdir(folder):
        raise UnwritableOutput(folder, "is no folder that is there", _REMEDY)
    if os.access(folder, os.W_OK):
        return
    probe = os.path.join(folder, f".usbwatch-{os.getpid()}")
    try:  # The system says why only when it is tried.
        os.mkdir(probe)
        os.rmdir(probe)
    except OSError as error:
        raise UnwritableOutput(folder, f"may not be written to ({error.strerror})", _remedy(error)) from None


def write_new(path: str, content: bytes) -> str:
    """Write ``content`` to ``path``, or to the same name with a number when that is taken; the path that it became.

    What was there stays. Raises ``UnwritableOutput``; then nothing new is there.
    """
    folder, name = os.path.split(os.path.abspath(path))
    written: List[str] = []
    try:
        target = _write(os.path.join(folder, f".{name}"), content, path, written)
    except OSError as error:
        _drop(written)
        raise UnwritableOutput(path, f"cannot be written ({error.strerror})", _remedy(error)) from error
    except BaseException:  # interrupted
        _drop(written)
        raise
    _sync(folder)
    return target


def _write(draft: str, content: bytes, path: str, written: List[str]) -> str:
    """Write a draft whose name begins so, and give it its name; ``written`` gets both names."""
    handle = _opened(draft, written)
    try:
        left = memoryview(content)
        while left:
            left = left[os.write(handle, left) :]
        os.fsync(handle)
        target = _free(path)
        os.rename(written[0], target)
        written.append(target)
        # On FAT the new name is at first that of an empty file: its size follows with the file, not with the folder
        # (fs/fat/namei_vfat.c: vfat_rename, which only marks the file for writing).
        os.fsync(handle)
    finally:
        os.close(handle)
    return target


def _opened(draft: str, written: List[str]) -> int:
    """A new file to write to. One that a pulled stick has left is not touched: it may share its place with another."""
    for number in range(os.getpid(), os.getpid() + _MOST_NUMBERS):
        name = f"{draft}.{number}.part"
        try:
            handle = os.open(name, os.O_WRONLY | os.O_CREAT | os.O_EXCL | NO_TRANSLATION, 0o666)
        except FileExistsError:
            continue
        written.append(name)
        return handle
    raise OSError(17, "too many drafts of that name are there", draft)


def _free(path: str) -> str:
    """The path, with a number before its ending where files of that name are there."""
    stem, ending = _parts(path)
    for number in range(1, _MOST_NUMBERS):
        target = path if number == 1 else f"{stem}-{number}{ending}"
        if not os.path.lexists(target):
            return target
    raise OSError(17, "too many files of that name are there", path)


def _parts(path: str) -> Tuple[str, str]:
    stem, ending = os.path.splitext(path)
    return stem, ending


def _remedy(error: OSError) -> str:
    import errno

    return _REMEDIES.get(errno.errorcode.get(error.errno or 0, ""), _REMEDY)


def _drop(paths: List[str]) -> None:
    for path in paths:
        try:
            os.unlink(path)
        except OSError:  # not there any more, or the stick is gone, and the file with it
            continue


def _sync(folder: str) -> None:
    """Have the new name itself on the stick; not every file system lets a folder be synced."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        return
    finally:
        os.close(handle)
