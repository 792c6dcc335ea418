"""Flags for opening a file for reading, on every system: one that a system does not have counts nothing.

``O_NONBLOCK``: never wait for the writer of a pipe. ``O_CLOEXEC``: no child
inherits it. ``O_BINARY``: Windows would otherwise change line ends.
"""

from __future__ import annotations

import os

__all__ = ["NO_TRANSLATION", "READ_ONLY", "READ_ONLY_NO_LINK"]


def _flag(name: str) -> int:
    return int(getattr(os, name, 0))


NO_TRANSLATION = _flag("O_BINARY") | _flag("O_CLOEXEC")
"""For writing, beside what ``open`` is asked for."""

READ_ONLY = os.O_RDONLY | _flag("O_NONBLOCK") | NO_TRANSLATION
"""Read, without waiting."""

READ_ONLY_NO_LINK = READ_ONLY | _flag("O_NOFOLLOW")
"""The same, refusing a symbolic link in the last place where the system can refuse it."""
