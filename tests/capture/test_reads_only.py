"""A capture only reads: every system call of a whole look, as strace saw it.

The marks are two ``stat`` calls on names that do not exist; what Python does
to start and to import lies before the first.
"""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest
from support.needs import needed_tool
from support.system_calls import (
    TOUCHES_NO_DEVICE,
    TRACED,
    WITH_SIDE_EFFECTS,
    between_marks,
    changes,
    opened,
    written_to,
)
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


def _calls(trace: Path, *arguments: str) -> list[str]:
    """The system calls of a look, one a line, between the two marks; ``trace`` is where strace leaves them."""
    tracer = needed_tool("strace", "strace")
    command = [tracer, "-f", "-qq", "-s", "4096", "-e", f"trace={TRACED}", "-o", str(trace)]
    done = subprocess.run(
        [*command, sys.executable, "-c", _LOOK, *arguments],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": ":".join(filter(None, sys.path))},
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 0
    return between_marks(trace.read_text(errors="replace"))


_OF_THIS_MACHINE = (
    "/sys/",
    "/proc/",
    "/dev/kmsg",
    # Which modules the system is told not to load, modprobe.d(5), and which it has at all, depmod(8).
    *(f"/{above}/modprobe.d" for above in ("etc", "run", "usr/local/lib", "usr/lib", "lib")),
    "/lib/modules",
    "/usr/lib/modules",
)
"""Beginnings of what a look at the machine it runs on may open."""


def _check(calls: list[str], allowed: tuple[str, ...]) -> list[tuple[str, str]]:
    files = opened(calls)
    assert changes(calls) == []
    assert written_to(files) == []
    assert [path for path, _ in files if WITH_SIDE_EFFECTS.search(path)] == []
    assert [path for path, _ in files if not path.startswith(allowed)] == []
    return files


def test_a_look_at_this_machine_changes_nothing(tmp_path: Path) -> None:
    assert len(_check(_calls(tmp_path / "trace"), _OF_THIS_MACHINE)) > 20


def test_a_look_at_a_real_kernels_tree_changes_nothing(real_tree: _Tree, tmp_path: Path) -> None:
    """The tree has the files that a capture must not touch: eleven ``power/level`` and seventeen ``disable``."""
    root = real_tree("healthy").resolve()
    there = [path.name for path in root.rglob("*") if path.name in {"disable", "level"}]
    assert (there.count("disable"), there.count("level")) == (17, 11)
    assert len(_check(_calls(tmp_path / "trace", str(root)), (f"{root}/",))) > 800


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
    assert [path for path, _ in opened(calls) if WITH_SIDE_EFFECTS.search(path)] == [
        "/sys/x/disable",
        "/sys/x/power/level",
    ]
    assert len(changes(calls)) == 2
    for line in calls[1:]:
        with pytest.raises(AssertionError):
            _check([line], ("/sys/",))
    _check(calls[:1], ("/sys/",))


TOUCHES = {
    "reset": "17 ioctl(7, USBDEVFS_RESET) = 0",
    "claim": "17 ioctl(7, USBDEVFS_CLAIMINTERFACE, [0]) = 0",
    "configuration": "17 ioctl(7, USBDEVFS_SETCONFIGURATION, [1]) = 0",
    "a request": "17 ioctl(7, USBDEVFS_SUBMITURB, {...}) = 0",
    "detach": "17 ioctl(7, USBDEVFS_IOCTL, {ifno=0, ioctl_code=USBDEVFS_DISCONNECT}) = 0",
    "a word to the kernel": '17 sendto(7, "add", 3, 0, {sa_family=AF_NETLINK, nl_pid=0}, 12) = 3',
    "a switch thrown": '17 write(7, "1", 1) = 1',
}


@pytest.mark.parametrize("call", TOUCHES.values(), ids=TOUCHES.keys())
def test_what_touches_a_device_is_not_let_pass(call: str) -> None:
    assert changes([call]) == [call]
    assert not TOUCHES_NO_DEVICE.search(call)


def test_an_opened_device_node_is_seen() -> None:
    """What ``libusb_open`` does on Linux (os/linux_usbfs.c): the node, read and write, else read alone."""
    node = "/dev/bus/usb/001/004"
    for flags in ("O_RDWR|O_CLOEXEC", "O_RDONLY|O_CLOEXEC"):
        assert opened([f'17 openat(AT_FDCWD, "{node}", {flags}) = 7']) == [(node, flags)]
        assert WITH_SIDE_EFFECTS.search(node)
    assert written_to([(node, "O_RDWR|O_CLOEXEC")]) == [(node, "O_RDWR|O_CLOEXEC")]
    assert not WITH_SIDE_EFFECTS.search("/dev/bus/usb/001")
