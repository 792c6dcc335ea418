"""Notices about senders that were refused, so few that a flood of them hides nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

__all__ = ["Notices"]

_WINDOW_S = 10.0
_MOST = 5
_MOST_REASONS = 8


class Notices:
    """Hands on a few notices in each ten seconds, and says at the end of those how many more there were."""

    def __init__(self, tell: Callable[[str], None], clock: Callable[[], float]) -> None:
        self._tell, self._clock = tell, clock
        self._began = clock()
        self._count = 0
        self._more: Counter[str] = Counter()

    def add(self, sender: str, reason: str) -> None:
        """A sender was refused."""
        self.pass_time()
        self._count += 1
        if self._count <= _MOST:
            self._tell(f"{sender} refused: {reason}")
        elif reason in self._more or len(self._more) < _MOST_REASONS:
            self._more[reason] += 1
        else:
            self._more["other reasons"] += 1

    def pass_time(self) -> None:
        """Sum up what was not told, where ten seconds have gone by."""
        if self._clock() - self._began < _WINDOW_S:
            return
        self.sum_up()
        self._began, self._count = self._clock(), 0

    def sum_up(self) -> None:
        """Say what was not told yet."""
        if self._more:
            parts = "; ".join(f"{reason} ({_times(count)})" for reason, count in self._more.most_common())
            self._tell(f"{self._more.total()} more were refused, and told: {parts}")
            self._more.clear()


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
