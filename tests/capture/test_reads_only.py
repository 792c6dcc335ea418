"""A capture only reads: every system call of a whole look, as strace saw it.

The marks are two ``stat`` calls on names that do not exist; what Python does
to start and to import lies before the first.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest
from support.needs import needed_tool
from support.units import LARCH

_Tree = Callable[..., Path]

_LOOK = textwrap.dedent("""
    import os, sys
    from usbwatch.capture import CopiedTree, LiveTree, copied_log, live_log, take
    def mark(name):
        try:
            os.stat(name)
        except FileNotFoundError:
            pass
    tree = CopiedTree(sys.argv[1]) if len(sys.argv) > 1 else LiveTree()
    mark("/mark-" + "a")
    log = copied_log(tree) if len(sys.argv) > 1 else live_log()
    capture = take(tree, taken_at="", log=log)
    mark("/mark-" + "z")
    print(len(capture.nodes))
""")

_CHANGING = (
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
_TRACED = (*_CHANGING, *_OPENING, "newfstatat", "stat", "statx")

_WITH_SIDE_EFFECTS = re.compile(
    r"/disable$|/power/level$|/remove$|/rescan$|/reset$|/bind$|/unbind$|/new_id$|/drvctl$|/trigger$|/config$|/rom$"
    r"|/resource\d|/autosuspend|^/dev/(?!kmsg$)|^/sys/kernel/debug/|/scan$|/delete$"
)
"""Files whose reading or opening wakes, asks or warns: a port's ``disable`` wakes its hub, ``power/level`` logs a
warning, PCI ``config``, ``rom`` and ``resource`` reach the device, opening a device node can wake the device."""

_OPENED = re.compile(r'open(?:at2?)?\((?:AT_FDCWD, )?"((?:[^"\\]|\\.)*)", (?:\{flags=)?([A-Z_|0-9x]+)')


def _calls(trace: Path, *arguments: str) -> list[str]:
    """The system calls of a look, one a line, between the two marks; ``trace`` is where strace leaves them."""
    tracer = needed_tool("strace", "strace")
    # A question mark before a call's name: where the processor's kernel does not have it, let it be.
    traced = ",".join(f"?{name}" for name in _TRACED)
    command = [tracer, "-f", "-qq", "-s", "4096", "-e", f"trace={traced}", "-o", str(trace)]
    done = subprocess.run(
        [*command, sys.executable, "-c", _LOOK, *arguments],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": ":".join(filter(None, sys.path))},
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 0
    lines = trace.read_text(errors="replace").splitlines()
    begin, end = (next(index for index, line in enumerate(lines) if f'"/mark-{name}"' in line) for name in ("a", "z"))
    assert begin < end
    return lines[begin + 1 : end]


def _opened(calls: list[str]) -> list[tuple[str, str]]:
    return [match.groups() for line in calls if (match := _OPENED.search(line))]  # type: ignore[misc]  # two groups


def _changes(calls: list[str]) -> list[str]:
    names = re.compile(r"^(?:\d+ +)?(?:<\.\.\. )?(\w+)")
    return [line for line in calls if (match := names.match(line)) and match.group(1) in _CHANGING]


def _check(calls: list[str], allowed: tuple[str, ...]) -> list[tuple[str, str]]:
    opened = _opened(calls)
    assert _changes(calls) == []
    assert [row for row in opened if not re.match(r"O_RDONLY(\||$)", row[1])] == []
    assert [row for row in opened if re.search(r"O_CREAT|O_TRUNC|O_APPEND|O_TMPFILE", row[1])] == []
    assert [path for path, _ in opened if _WITH_SIDE_EFFECTS.search(path)] == []
    assert [path for path, _ in opened if not path.startswith(allowed)] == []
    return opened


def test_a_look_at_this_machine_changes_nothing(tmp_path: Path) -> None:
    opened = _check(_calls(tmp_path / "trace"), ("/sys/", "/proc/", "/dev/kmsg"))
    assert len(opened) > 20


def test_a_look_at_a_real_kernels_tree_changes_nothing(real_tree: _Tree, tmp_path: Path) -> None:
    """The tree has the files that a capture must not touch: eleven ``power/level`` and seventeen ``disable``."""
    root = real_tree("healthy").resolve()
    there = [path.name for path in root.rglob("*") if path.name in {"disable", "level"}]
    assert (there.count("disable"), there.count("level")) == (17, 11)
    opened = _check(_calls(tmp_path / "trace", str(root)), (f"{root}/",))
    assert len(opened) > 800


def test_a_look_at_an_invented_tree_leaves_every_file_as_it_was(built_tree: _Tree, tmp_path: Path) -> None:
    root = built_tree(LARCH).resolve()
    before = _state(root)
    assert len(_check(_calls(tmp_path / "trace", str(root)), (f"{root}/",))) > 500
    assert _state(root) == before


def _state(root: Path) -> list[tuple[str, int, int, int]]:
    return sorted(
        (str(path), status.st_mtime_ns, status.st_ctime_ns, status.st_size)
        for path in root.rglob("*")
        for status in [path.lstat()]
    )


def test_the_checks_see_what_they_look_for() -> None:
    """So that the tests above cannot pass by seeing nothing."""
    calls = [
        '17 openat(AT_FDCWD, "/sys/bus/usb", O_RDONLY|O_CLOEXEC) = 3',
        '17 openat(AT_FDCWD, "/sys/x/disable", O_RDONLY) = 3',
        '17 openat(AT_FDCWD, "/sys/x/power/level", O_RDONLY) = 3',
        '17 openat(AT_FDCWD, "/sys/x/authorized", O_WRONLY|O_CREAT, 0666) = 3',
        "17 ioctl(3, TCGETS, 0x7ffc) = -1",
        '17 write(1, "x", 1) = 1',
    ]
    assert [path for path, _ in _opened(calls) if _WITH_SIDE_EFFECTS.search(path)] == [
        "/sys/x/disable",
        "/sys/x/power/level",
    ]
    assert len(_changes(calls)) == 2
    for line in calls[1:]:
        with pytest.raises(AssertionError):
            _check([line], ("/sys/",))
    _check(calls[:1], ("/sys/",))
