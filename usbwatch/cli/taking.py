"""Captures for a command: taken now, or read from a file or from standard input."""

from __future__ import annotations

import os
import stat
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from usbwatch.model import Capture

__all__ = ["WAYS", "loaded", "local_time", "now", "taken"]

WAYS = ("sysfs", "libusb")
"""Ways of looking at this machine: Linux's own tree, or the list that every system has."""


def now() -> str:
    """The present moment as RFC 3339 in UTC, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def local_time(taken_at: str) -> str:
    """A capture's time as the bench's clock would show it, "" when it is not known."""
    try:
        moment = datetime.fromisoformat(taken_at).astimezone()
    except (ValueError, OverflowError, OSError):
        return ""
    return f"{moment:%Y-%m-%d %H:%M} {moment.tzname() or ''}".strip()


def taken(root: str | None, log: str | None, through: str | None = None) -> Capture:
    """A capture of this machine, or of the tree copied to ``root``, a folder or a tar archive.

    ``through`` is one of ``WAYS``; not given, sysfs on Linux and libusb
    elsewhere. Raises ``BadTree``, ``BadLog``, ``NoLibrary`` where libusb is needed and its
    packages are not installed, and click's ``UsageError`` for what does not go
    together.
    """
    from usbwatch.capture import LiveTree, copied_log, live_log, opened_tree, take
    from usbwatch.capture.origin import origin

    _check(root, log, through)
    words = _log_in_file(log) if log is not None else None
    if root is not None:
        tree = opened_tree(root)
        came = origin(tree)
        words = copied_log(tree) if words is None else words
        return take(tree, taken_at=came.taken_at, log=words, privileged=came.privileged)
    if (through or _own_way()) == "libusb":
        from usbwatch.capture.portable import take_portable

        return take_portable(taken_at=now(), privileged=_privileged())
    return take(LiveTree(), taken_at=now(), log=live_log() if words is None else words, privileged=_privileged())


def _check(root: str | None, log: str | None, through: str | None) -> None:
    """A copied tree is sysfs, and a list of devices has no place for what a kernel's log tells."""
    if root is not None and through == "libusb":
        raise click.UsageError("--through libusb looks at this machine, and --root at a copied tree; give one of them.")
    if root is None and log is not None and (through or _own_way()) == "libusb":
        raise click.UsageError("--log goes with Linux's sysfs, and not with --through libusb; leave it out.")


def _own_way() -> str:
    return "sysfs" if sys.platform == "linux" else "libusb"


def _privileged() -> bool:
    """Whether this runs as root; Windows has no such number, and there nothing depends on it."""
    own = getattr(os, "geteuid", None)
    return own is not None and own() == 0


def _log_in_file(path: str) -> str:
    from usbwatch.capture.kmsg import LOG_LIMIT
    from usbwatch.capture.opening import READ_ONLY
    from usbwatch.errors import BadLog

    try:
        with os.fdopen(os.open(path, READ_ONLY), "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                # A pipe that nobody has written to yet, and a device without an end, both look like a silent log.
                raise BadLog(path, "is no regular file", "save the kernel's log in a file and give that")
            return file.read(LOG_LIMIT).decode("utf-8", "backslashreplace")
    except OSError as error:
        raise BadLog(path, f"cannot be read ({error.strerror})", "check its name") from error
    except ValueError:
        raise BadLog(path, "has a name that no file can have") from None


def loaded(path: str) -> Capture:
    """The capture in a file, or on standard input for ``-``. Raises ``BadCapture``."""
    from usbwatch.capture import load
    from usbwatch.capture.saved import LARGEST_FILE, parse

    if path != "-":
        return load(path)
    return parse(sys.stdin.buffer.read(LARGEST_FILE + 1), "on standard input")
