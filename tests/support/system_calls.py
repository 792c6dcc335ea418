"""Reading what strace recorded: which files a program opened and how, and which calls could change something."""

from __future__ import annotations

import re

__all__ = [
    "CHANGING",
    "TOUCHES_NO_DEVICE",
    "TRACED",
    "WITH_SIDE_EFFECTS",
    "between_marks",
    "changes",
    "opened",
    "written_to",
]

CHANGING = (
    "creat",
    "truncate",
    "ftruncate",
    "fallocate",
    "unlink",
    "unlinkat",
    "rename",
    "renameat",
    "renameat2",
    "link",
    "linkat",
    "symlink",
    "symlinkat",
    "mkdir",
    "mkdirat",
    "rmdir",
    "mknod",
    "mknodat",
    "chmod",
    "fchmod",
    "fchmodat",
    "chown",
    "fchown",
    "fchownat",
    "lchown",
    "utimensat",
    "setxattr",
    "fsetxattr",
    "mount",
    "umount2",
    "write",
    "pwrite64",
    "writev",
    "sendfile",
    "splice",
    "ioctl",
    "connect",
    "sendto",
    "sendmsg",
    "bind",
    "kill",
    "execve",
    "init_module",
    "finit_module",
    "delete_module",
    "reboot",
)
"""Calls that change something outside the process, or that can make a device do something (``ioctl``)."""

_OPENING = ("open", "openat", "openat2")

TRACED = ",".join(f"?{name}" for name in (*CHANGING, *_OPENING, "newfstatat", "stat", "statx"))
"""For strace's ``-e trace=``. A question mark: where the processor's kernel does not have the call, let it be."""

WITH_SIDE_EFFECTS = re.compile(
    r"/disable$|/power/level$|/remove$|/rescan$|/reset$|/bind$|/unbind$|/new_id$|/drvctl$|/trigger$|/config$|/rom$"
    r"|/resource\d|/autosuspend|^/dev/(?!kmsg$|bus/usb(?:/\d+)?$)|^/proc/kmsg$|^/sys/kernel/debug/|/scan$|/delete$"
)
"""Files whose reading or opening wakes, asks or warns: a port's ``disable`` wakes its hub, ``power/level`` logs a
warning, PCI ``config``, ``rom`` and ``resource`` reach the device, opening a device node can wake the device;
``/proc/kmsg`` takes records away from other readers. ``/dev/bus/usb`` and its folders may be listed."""

TOUCHES_NO_DEVICE = re.compile(
    # libusb listens to the kernel's messages about devices that come and go; it says nothing itself.
    r"bind\(\d+, \{sa_family=AF_NETLINK, nl_pid=0, nl_groups=0x000001\}, 12\)"
    # Python asks of a file that it opens whether it is a terminal.
    r"|ioctl\(\d+, TCGETS, "
    # libusb wakes its own waiting threads: eight bytes to an event counter.
    r'|write\(\d+, "\\1\\0\\0\\0\\0\\0\\0\\0", 8\)'
)
"""Of ``CHANGING`` what a capture through libusb does, and no device ever notices."""

_OPENED = re.compile(r'open(?:at2?)?\((?:AT_FDCWD, )?"((?:[^"\\]|\\.)*)", (?:\{flags=)?([A-Z_|0-9x]+)')
_NAME = re.compile(r"^(?:\d+ +)?(?:<\.\.\. )?(\w+)")


def between_marks(trace: str) -> list[str]:
    """The calls between the two marks, ``stat`` of ``/mark-a`` and of ``/mark-z``; neither exists."""
    lines = trace.splitlines()
    begin, end = (next(index for index, line in enumerate(lines) if f'"/mark-{name}"' in line) for name in ("a", "z"))
    assert begin < end
    return lines[begin + 1 : end]


def opened(calls: list[str]) -> list[tuple[str, str]]:
    """Path and flags of every file that was opened, or that it was tried with."""
    return [match.groups() for line in calls if (match := _OPENED.search(line))]  # type: ignore[misc]  # two groups


def changes(calls: list[str]) -> list[str]:
    """Calls of ``CHANGING``."""
    return [line for line in calls if (match := _NAME.match(line)) and match.group(1) in CHANGING]


def written_to(files: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Of opened files those that were not opened for reading alone."""
    harmless = re.compile(r"O_RDONLY(\||$)")
    making = re.compile(r"O_CREAT|O_TRUNC|O_APPEND|O_TMPFILE")
    return [(path, flags) for path, flags in files if not harmless.match(flags) or making.search(flags)]
