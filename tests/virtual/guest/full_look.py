"""One whole capture by every way there is, sysfs, libusb and the kernel's log, between two marks for strace.

The marks are ``stat`` calls on names that do not exist. What Python opens to
import modules lies before the first; that libusb is loaded and started lies
between them.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import platform
import sys

import libusb_package
import psutil
import usb.backend.libusb1

from usbwatch.capture import LiveTree, live_log, take
from usbwatch.capture.portable import take_portable

IMPORTED = (ctypes, platform, libusb_package, psutil, usb.backend.libusb1)


def mark(name: str) -> None:
    """Leave a call in the trace that is easily found."""
    with contextlib.suppress(FileNotFoundError):
        os.stat("/mark-" + name)  # noqa: PTH116 - the call itself is the point


def main() -> None:
    """Look, and say how many nodes each way has, and how long the log is."""
    mark("a")
    log = live_log()
    kernel = take(LiveTree(), taken_at="", log=log)
    listed = take_portable(taken_at="")
    mark("z")
    sys.stdout.write(f"{len(kernel.nodes)} {len(listed.nodes)} {len(log or '')}\n")


if __name__ == "__main__":
    main()
