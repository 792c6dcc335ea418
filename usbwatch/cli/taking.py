"""Captures for a command: taken now, or read from a file or from standard input."""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from usbwatch.model import Capture

__all__ = ["loaded", "local_time", "now", "taken"]


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


def taken(root: str | None, log: str | None) -> Capture:
    """A capture of this machine, or of the tree copied to ``root``. Raises ``BadTree``."""
    from usbwatch.capture import CopiedTree, LiveTree, copied_log, live_log, take

    words = _log_in_file(log) if log is not None else None
    if root is None:
        return take(
            LiveTree(), taken_at=now(), log=live_log() if words is None else words, privileged=os.geteuid() == 0
        )
    tree = CopiedTree(root)
    return take(tree, taken_at="", log=copied_log(tree) if words is None else words)


def _log_in_file(path: str) -> str:
    from usbwatch.capture.kmsg import LOG_LIMIT
    from usbwatch.errors import BadTree

    try:
        with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC), "rb") as file:
            return file.read(LOG_LIMIT).decode("utf-8", "backslashreplace")
    except OSError as error:
        raise BadTree(path, f"the kernel log cannot be read ({error.strerror})", "check its name") from error


def loaded(path: str) -> Capture:
    """The capture in a file, or on standard input for ``-``. Raises ``BadCapture``."""
    from usbwatch.capture import load
    from usbwatch.capture.saved import LARGEST_FILE, parse

    if path != "-":
        return load(path)
    return parse(sys.stdin.buffer.read(LARGEST_FILE + 1), "on standard input")
