"""Strings that a broken or ill-meaning device may give, and values with such a string in every place."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import Any

__all__ = ["HOSTILE", "poisoned"]

HOSTILE = {
    "clears the screen": "\x1b[2J\x1b[Hwhole",
    "sets the title": "\x1b]0;gone\x07",
    "eight-bit control": "\x9b2J",
    "fakes a line": "Larch\n✓ present     everything",
    "returns to the margin": "Larch\rwhole    ",
    "turns the order round": "\u202eelohw",
    "hides": "\u200b\ufeff\u2066\U000e0041",
    "lone surrogate": "\udc80\ud800",
    "markup": "[bold red]x[/bold red] [link=file:///]y[/link]",
    "tower of marks": "e" + "\u0301" * 500,
    "very long": "Larch " + "k" * 100_000,
    "many words": "many words " * 10_000,
    "nothing": "",
}


def poisoned(value: Any, text: str, keep: frozenset[str] = frozenset()) -> Any:  # noqa: ANN401
    """``value`` with every string in it replaced by ``text``, but for the fields named in ``keep``."""
    if isinstance(value, Enum):
        return value
    if isinstance(value, str):
        return text
    if isinstance(value, tuple):
        return tuple(poisoned(one, text, keep) for one in value)
    if isinstance(value, dict):
        return {key: poisoned(one, text, keep) for key, one in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        changed = {one.name: getattr(value, one.name) for one in fields(value) if one.name not in keep}
        return replace(value, **{name: poisoned(one, text, keep) for name, one in changed.items()})
    return value
