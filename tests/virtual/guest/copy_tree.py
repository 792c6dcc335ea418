"""Copy a machine's tree to a tar stream on standard output, for ``usbwatch --root``.

Its sysfs, its kernel log, and the files that decide which drivers it has.

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

MODPROBE_D = tuple(f"/{above}/modprobe.d" for above in ("etc", "run", "usr/local/lib", "usr/lib", "lib"))
FILES = ("/proc/cmdline", "/proc/modules", "/proc/sys/kernel/osrelease")
LISTS = ("modules.alias", "modules.builtin", "modules.builtin.alias.bin", "modules.builtin.modinfo")

LEFT_OUT = frozenset(
    {"/sys/bus/workqueue", "/sys/devices/virtual/tty", "/sys/devices/virtual/workqueue"}
    | {"/sys/devices/system/memory", "/sys/firmware/acpi/interrupts"}
)
"""Large folders that tell of no part of a laptop."""

ACTING = frozenset({"disable", "level", "power", "rom"})
"""A USB port's ``disable`` wakes its hub; ``power`` holds ``level``, which logs a warning, and counters."""

LARGEST = 65_536
LARGEST_LIST = 16 * 1024 * 1024


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


def read(path: str, limit: int = LARGEST) -> bytes | None:
    """Content of a file, None when it cannot be read."""
    try:
        with Path(path).open("rb") as file:
            return file.read(limit)
    except OSError:
        return None


def add_file(archive: tarfile.TarFile, path: str, limit: int = LARGEST) -> None:
    """Put a file that is no attribute into the archive, when it is there."""
    content = read(path, limit)
    if content is not None:
        member = tarfile.TarInfo(path.lstrip("/"))
        member.size = len(content)
        archive.addfile(member, io.BytesIO(content))


def main() -> None:
    """Write the archive."""
    with tarfile.open(fileobj=sys.stdout.buffer, mode="w|") as archive:
        log = subprocess.run(["dmesg"], stdout=subprocess.PIPE, check=True).stdout
        member = tarfile.TarInfo("meta/dmesg.txt")
        member.size = len(log)
        archive.addfile(member, io.BytesIO(log))
        for path in FILES:
            add_file(archive, path)
        for name in LISTS:
            add_file(archive, f"/lib/modules/{os.uname().release}/{name}", LARGEST_LIST)
        for folder in (*FOLDERS, *MODPROBE_D):
            for entry in entries(folder):
                add(archive, entry)


if __name__ == "__main__":
    main()
