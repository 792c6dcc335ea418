"""Advice that names a command, in the words of the keys that do the same on the unit."""

from __future__ import annotations

import re

__all__ = ["on_unit"]

_INSTEAD = (
    (re.compile(r"run usbwatch handcheck [a-z-]+( on the unit)?"), "do the hand checks (h)"),
    (re.compile(r"usbwatch handcheck [a-z-]+ find it"), "the hand checks (h) find it"),
    (re.compile(r"and add --answer [a-z0-9:-]+=yes\|no"), "and answer it (a)"),
    (re.compile(r"insist with --profile"), "pick a profile (p)"),
    (re.compile(r"\(usbwatch watch\)"), "(w)"),
)


def on_unit(text: str) -> str:
    """The text with keys for commands."""
    for pattern, words in _INSTEAD:
        text = pattern.sub(words, text)
    return text
