"""What comes from a keyboard, as keys. Values only.

A key that hangs repeats for ever: after a few times it counts no more, until it has been quiet for a while.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass, replace

__all__ = ["BACKSPACE", "DOWN", "ENTER", "ESCAPE", "UP", "Pressed", "pressed"]

ENTER, ESCAPE, BACKSPACE, UP, DOWN = "enter", "escape", "backspace", "up", "down"

_NAMED = {"\r": ENTER, "\n": ENTER, "\x7f": BACKSPACE, "\b": BACKSPACE}
_SEQUENCES = {"[A": UP, "[B": DOWN, "[5~": UP, "[6~": DOWN, "OA": UP, "OB": DOWN}
_LONGEST_SEQUENCE = 12

_REPEATS = 3
"""So often a key counts that is repeated without a pause."""
_PAUSE_MS = 120
"""No finger presses one key twice in less. A console repeats one that is held after 250 ms, and from then on every 33
(the kernel's defaults): such a key counts once for being pressed and ``_REPEATS`` times for being held."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressed:
    """What was pressed so far, as far as it matters to what comes."""

    pending: bytes = b""
    """The beginning of a letter in UTF-8."""
    escape: str | None = None
    """What came after an escape character so far, None outside of a sequence (ECMA-48, 5.4)."""
    last: str = ""
    times: int = 0
    """How often ``last`` came without a pause."""
    at_ms: int = -_PAUSE_MS


def pressed(state: Pressed, content: bytes, now_ms: int) -> tuple[Pressed, tuple[str, ...]]:
    """The state after some more bytes, and the keys in them: a letter as itself, others by their names."""
    decoder = codecs.getincrementaldecoder("utf-8")("replace")
    letters = decoder.decode(state.pending + content)
    state = replace(state, pending=decoder.getstate()[0])
    if not content and state.escape == "":  # nothing came after it, so that it was the key itself
        state, kept = _counted(replace(state, escape=None), ESCAPE, now_ms)
        return state, kept
    keys: list[str] = []
    for letter in letters:
        state, key = _with_letter(state, letter)
        if key:
            state, kept = _counted(state, key, now_ms)
            keys += kept
    return state, tuple(keys)


def _with_letter(state: Pressed, letter: str) -> tuple[Pressed, str]:
    if letter == "\x1b":
        return replace(state, escape=""), ""
    if state.escape is not None:
        sequence = state.escape + letter
        begins = sequence in ("[", "O") or (sequence[0] == "[" and not "@" <= letter <= "~")
        if begins and len(sequence) < _LONGEST_SEQUENCE:
            return replace(state, escape=sequence), ""
        return replace(state, escape=None), _SEQUENCES.get(sequence, "")
    return state, _NAMED.get(letter, letter if letter.isprintable() else "")


def _counted(state: Pressed, key: str, now_ms: int) -> tuple[Pressed, tuple[str, ...]]:
    goes_on = key == state.last and now_ms - state.at_ms < _PAUSE_MS
    times = state.times + 1 if goes_on else 1
    state = replace(state, last=key, times=times, at_ms=now_ms)
    return state, (key,) if times <= _REPEATS else ()
