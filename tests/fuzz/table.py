"""Every target, by its name."""

from __future__ import annotations

from fuzz import books, commands, decoders, files, judging, network, texts, trees, typed
from fuzz.target import Target

__all__ = ["TARGETS"]

_ROOMS = (decoders, texts, trees, files, judging, books, network, typed, commands)
TARGETS: dict[str, Target] = {target.name: target for room in _ROOMS for target in room.TARGETS}
