"""When the terminal's bell rings: once for what went, twice for what came back, and never more than an ear can use.

Values only; no clock and no terminal here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

__all__ = ["GAP_MS", "PAUSE_MS", "Bell", "heard", "next_stroke_ms", "struck"]

GAP_MS = 250
"""Between two strokes, so that they are heard as two; most terminals make one of strokes closer together.

Common practice, no source.
"""
PAUSE_MS = 1_500
"""Between the end of one pattern and the next: a contact that chatters rings no alarm without end."""

_NEVER = -1_000_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Bell:
    """What is still to be struck, and when the bell was struck last."""

    strokes: int = 0
    at_ms: int = 0
    """When the next of ``strokes`` is due."""
    last_ms: int = _NEVER


def heard(bell: Bell, *, gone: bool, now_ms: int) -> Bell:
    """The bell after something went, or came back.

    A departure takes the place of a return that has not begun to ring.
    Whatever comes while a pattern rings, or within the pause after it, is not rung.
    """
    begun = bell.strokes == 1 and bell.last_ms > _NEVER and bell.at_ms == bell.last_ms + GAP_MS
    if begun or now_ms < bell.last_ms + PAUSE_MS or (bell.strokes and not gone):
        return bell
    return replace(bell, strokes=1 if gone else 2, at_ms=now_ms)


def struck(bell: Bell, now_ms: int) -> tuple[Bell, bool]:
    """The bell at a moment, and whether it is struck now."""
    if not bell.strokes or now_ms < bell.at_ms:
        return bell, False
    return Bell(strokes=bell.strokes - 1, at_ms=now_ms + GAP_MS, last_ms=now_ms), True


def next_stroke_ms(bell: Bell) -> int | None:
    """When the bell is to be struck next, None for not at all."""
    return bell.at_ms if bell.strokes else None
