"""How long something lasted, in words and in few letters; and how near is near."""

from __future__ import annotations

__all__ = ["MARK_NEAR_MS", "lasted", "lasted_between", "lasted_short"]

MARK_NEAR_MS = 5000
"""A mark this close to a departure may tell of what led to it (elicited, no source).

Before it or after it: with both hands in the unit a person types when it has gone.
"""

_SECOND, _MINUTE, _HOUR = 1_000, 60_000, 3_600_000
_TENTHS_UNTIL = 9_950


def lasted(ms: int) -> str:
    """A duration as a phrase: "40 ms", "3.2 s", "12 s", "4 min", "3 min 20 s", "1 h 2 min".

    >>> lasted(40), lasted(3_240), lasted(240_000), lasted(200_000), lasted(3_720_000)
    ('40 ms', '3.2 s', '4 min', '3 min 20 s', '1 h 2 min')
    """
    if ms < _SECOND:
        return f"{ms} ms"
    if ms < _TENTHS_UNTIL:
        return f"{ms / _SECOND:.1f} s"
    if ms < _MINUTE:
        return f"{ms // _SECOND} s"
    if ms < _HOUR:
        return _two(ms // _MINUTE, "min", ms % _MINUTE // _SECOND, "s")
    return _two(ms // _HOUR, "h", ms % _HOUR // _MINUTE, "min")


def lasted_between(shortest_ms: int, longest_ms: int) -> str:
    """The shortest and the longest of several durations: "400 ms to 1.0 s", or one where they read alike.

    >>> lasted_between(400, 1_000), lasted_between(3_210, 3_240)
    ('400 ms to 1.0 s', '3.2 s')
    """
    low, high = lasted(shortest_ms), lasted(longest_ms)
    return low if low == high else f"{low} to {high}"


def _two(many: int, unit: str, rest: int, smaller: str) -> str:
    return f"{many} {unit} {rest} {smaller}" if rest else f"{many} {unit}"


def lasted_short(ms: int) -> str:
    """The same in few columns, for a page that is painted over and over: "0.4s", "12s", "3m20s", "1h02m".

    >>> lasted_short(440), lasted_short(12_900), lasted_short(200_000), lasted_short(3_720_000)
    ('0.4s', '12s', '3m20s', '1h02m')
    """
    if ms < _TENTHS_UNTIL:
        return f"{ms / _SECOND:.1f}s"
    if ms < _MINUTE:
        return f"{ms // _SECOND}s"
    if ms < _HOUR:
        return f"{ms // _MINUTE}m{ms % _MINUTE // _SECOND:02}s"
    return f"{ms // _HOUR}h{ms % _HOUR // _MINUTE:02}m" if ms < 100 * _HOUR else f"{ms // _HOUR}h"
