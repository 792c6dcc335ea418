"""Copy a machine's sysfs, and its kernel log, to a tar stream on standard output: a tree for ``usbwatch --root``.

Links stay links and files have their true length, which ``tar`` gets wrong on
sysfs: there every file claims to be one page long. What cannot be read is left
out, and so is what does something when it is read.
"""

from __future__ import annotations

import io
import os
import stat
import subprocess
import sys
import tarfile
from collections.abc import Iterator
from pathlib import Path

FOLDERS = ("/sys/bus", "/sys/class", "/sys/devices", "/sys/block", "/sys/firmware/acpi", "/sys/firmware/dmi")

LEFT_OUT = frozenset(
    {"/sys/bus/workqueue", "/sys/devices/virtual/tty", "/sys/devices/virtual/workqueue"}
    | {"/sys/devices/system/memory", "/sys/firmware/acpi/interrupts"}
)
"""Large folders that tell of no part of a laptop."""

ACTING = frozenset({"disable", "level", "power", "rom"})
"""A USB port's ``disable`` wakes its hub; ``power`` holds ``level``, which logs a warning, and counters."""

LARGEST = 65_536


def entries(folder: str) -> Iterator[os.DirEntry[str]]:
    """Everything below a folder, links not followed."""
    try:
        found = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except OSError:
        return
    for entry in found:
        if entry.path in LEFT_OUT or entry.name in ACTING:
            continue
        yield entry
        if entry.is_dir(follow_symlinks=False):
            yield from entries(entry.path)


def add(archive: tarfile.TarFile, entry: os.DirEntry[str]) -> None:
    """Put one folder, link or readable file into the archive."""
    member = tarfile.TarInfo(entry.path.lstrip("/"))
    if entry.is_symlink():
        member.type, member.linkname = tarfile.SYMTYPE, str(Path(entry.path).readlink())
        archive.addfile(member)
    elif entry.is_dir():
        member.type, member.mode = tarfile.DIRTYPE, 0o755
        archive.addfile(member)
    elif entry.stat().st_mode & stat.S_IRUSR:
        content = read(entry.path)
        if content is not None:
            member.size = len(content)
            archive.addfile(member, io.BytesIO(content))


def read(path: str) -> bytes | None:
    """Content of an attribute, None when it cannot be read."""
    try:
        with Path(path).open("rb", buffering=0) as file:
            return file.read(LARGEST)
    except OSError:
        return None


def main() -> None:
    """Write the archive."""
    with tarfile.open(fileobj=sys.stdout.buffer, mode="w|") as archive:
        log = subprocess.run(["dmesg"], stdout=subprocess.PIPE, check=True).stdout
        member = tarfile.TarInfo("meta/dmesg.txt")
        member.size = len(log)
        archive.addfile(member, io.BytesIO(log))
        for folder in FOLDERS:
            for entry in entries(folder):
                add(archive, entry)


if __name__ == "__main__":
    main()
