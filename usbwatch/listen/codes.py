"""The code on the bench's screen that a sender shows, and which of them still counts."""

from __future__ import annotations

import hmac
import secrets
from collections import OrderedDict
from dataclasses import dataclass
from enum import Enum

__all__ = ["ALPHABET", "LENGTH", "CodeStanding", "Gate", "Used", "grouped", "is_code", "normalised"]

ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
"""Without I, L, O, 0 and 1, which are taken for each other: 31 signs, so that eight carry 39.6 bits."""

LENGTH = 8
_REMEMBERED = 16


class CodeStanding(Enum):
    """What a code that was shown is worth."""

    RIGHT = "right"
    """It is on the screen now, or none is asked for."""
    BUSY = "busy"
    """It is on the screen, and another sender is sending with it."""
    USED = "used"
    """It was used up by a capture that was kept; the same may be sent again."""
    WRONG = "wrong"


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """What a code was used up by."""

    body: bytes
    """SHA-256 of the body as it was sent."""
    length: int
    answer: str


def normalised(code: str) -> str:
    """A code as it is compared: upper case, without the blanks and hyphens that people add."""
    return "".join(letter for letter in code.upper() if letter in ALPHABET)[: LENGTH + 1]


def is_code(typed: str) -> bool:
    """Whether this can be a code at all, as people type it; which one counts only the bench knows."""
    bare = "".join(letter for letter in typed.upper() if letter != "-" and not letter.isspace())
    return len(bare) == LENGTH and set(bare) <= set(ALPHABET)


def grouped(code: str) -> str:
    """A code as it is read aloud: ``K7PM-4RTX``."""
    return f"{code[: LENGTH // 2]}-{code[LENGTH // 2 :]}"


class Gate:
    """Which code counts now. Without ``asks`` none is asked for; with ``same`` one counts for all captures.

    A code lets one body in at a time. It is used up when that is kept, and
    counts again when it is not. Nothing that a sender does without it changes
    anything here, so nobody can lock another out.
    """

    def __init__(self, *, asks: bool, same: bool = False) -> None:
        self.asks, self._same = asks, same
        self.code = _new() if asks else ""
        self._taken = False
        self._used: OrderedDict[str, Used] = OrderedDict()

    def standing(self, shown: str) -> CodeStanding:
        """What the code that a sender shows is worth; compared in constant time."""
        if not self.asks:
            return CodeStanding.RIGHT
        said = normalised(shown).encode()
        if hmac.compare_digest(said, self.code.encode()):
            return CodeStanding.BUSY if self._taken and not self._same else CodeStanding.RIGHT
        matches = [hmac.compare_digest(said, one.encode()) for one in self._used]
        return CodeStanding.USED if any(matches) else CodeStanding.WRONG

    def used(self, shown: str) -> Used | None:
        """What a code was used up by."""
        return self._used.get(normalised(shown))

    def take(self) -> None:
        """A sender with the right code begins to send."""
        self._taken = True

    def give_back(self) -> None:
        """What was sent was not kept: the code counts for another attempt."""
        self._taken = False

    def use_up(self, by: Used) -> bool:
        """What was sent is kept; whether a new code is to be shown."""
        self._taken = False
        if not self.asks or self._same:
            return False
        self._used[self.code] = by
        while len(self._used) > _REMEMBERED:
            self._used.popitem(last=False)
        self.code = _new()
        return True


def _new() -> str:
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
