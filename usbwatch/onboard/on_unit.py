"""Advice that names a command, in the words of the keys that do the same on the unit."""

from __future__ import annotations

import re

__all__ = ["on_unit"]

_INSTEAD = (
    (re.compile(r"run usbwatch handcheck [a-z-]+( on the unit)?"), "do the hand checks (h)"),
    (re.compile(r"and add --answer [a-z0-9:-]+=yes\|no"), "and answer it (a)"),
    (re.compile(r"insist with --profile"), "pick a profile (p)"),
    (re.compile(r"\(usbwatch watch\)"), "(w)"),
)


def on_unit(text: str) -> str:
    """The text with keys for commands.

    >>> on_unit("run usbwatch handcheck keyboard on the unit; or try it, and add --answer all-keys-type=yes|no")
    'do the hand checks (h); or try it, and answer it (a)'
    """
    for pattern, words in _INSTEAD:
        text = pattern.sub(words, text)
    return text
