"""The exit codes, so that a script can tell a faulty unit from a faulty file, and both from a faulty usbwatch."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = [
    "BAD_INPUT",
    "BUG",
    "CHANGED",
    "CLOSED_PIPE",
    "INTERRUPTED",
    "NOT_ALL_SEEN",
    "USAGE",
    "WELL",
    "WRONG",
    "of_outcome",
    "worst",
]

WELL = 0
BUG = 1
"""Our own mistake, and nothing else."""
USAGE = 2
BAD_INPUT = 3
WRONG = 10
CHANGED = 10
NOT_ALL_SEEN = 11
INTERRUPTED = 130
"""128 + 2 (SIGINT), as a POSIX shell reports it."""
CLOSED_PIPE = 141
"""128 + 13 (SIGPIPE), as a POSIX shell reports it."""

_OF_OUTCOME = {"whole": WELL, "wrong": WRONG, "not all seen": NOT_ALL_SEEN}

_SEVERITY = (WELL, NOT_ALL_SEEN, WRONG, BAD_INPUT, USAGE, BUG)
"""From the least to the most serious: what several captures in one run come to."""


def of_outcome(outcome: str) -> int:
    """The exit code for a check's outcome, by its word (``usbwatch.show.Outcome``)."""
    return _OF_OUTCOME[outcome]


def worst(codes: Iterable[int]) -> int:
    """The most serious of the codes of several checks; 0 of none."""
    return max(codes, key=_SEVERITY.index, default=WELL)
