"""What is typed while a page is painted: letters gather in a line, Enter ends it. Values only."""

from __future__ import annotations

import codecs
from dataclasses import dataclass, replace

__all__ = ["Typed", "typed_on"]

_LONGEST = 200
_BACK = "\x7f\x08"
_KILL = "\x15"
"""Ctrl-U, the line's kill character (termios(3), VKILL)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """The line so far, and what of it is not a whole letter or key yet."""

    text: str = ""
    pending: bytes = b""
    """The beginning of a letter in UTF-8."""
    escape: str = ""
    """The beginning of a key's escape sequence (ECMA-48, 5.4): keys such as the arrows say nothing here."""


def typed_on(state: Typed, content: bytes) -> tuple[Typed, tuple[str, ...]]:
    """The state after some more bytes, and the lines that Enter ended."""
    decoder = codecs.getincrementaldecoder("utf-8")("replace")
    letters = decoder.decode(state.pending + content)
    state = replace(state, pending=decoder.getstate()[0])
    lines: list[str] = []
    for letter in letters:
        if letter in "\r\n" and not state.escape:
            lines.append(state.text.strip())
            state = replace(state, text="")
        else:
            state = _with_letter(state, letter)
    return state, tuple(lines)


def _with_letter(state: Typed, letter: str) -> Typed:
    if letter == "\x1b":
        return replace(state, escape=letter)
    if state.escape:
        return replace(state, escape=_escape(state.escape, letter))
    if letter in _BACK:
        return replace(state, text=state.text[:-1])
    if letter == _KILL:
        return replace(state, text="")
    return replace(state, text=(state.text + letter)[:_LONGEST]) if letter.isprintable() else state


def _escape(so_far: str, letter: str) -> str:
    """A key's sequence with one more letter; "" when that ends it."""
    if so_far == "\x1b":
        return so_far + letter if letter in "[O" else ""
    return "" if "@" <= letter <= "~" or letter < " " else so_far
