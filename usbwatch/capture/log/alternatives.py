"""Many patterns tried at once: one look tells which of them fits, and that one alone is asked for its groups.

Most lines of a log fit none. A pattern without groups is tried much faster
than one with groups, so the look at all of them has no others than its own.
"""

from __future__ import annotations

import re
from functools import cached_property
from typing import Dict, Optional, Pattern, Sequence, Tuple

__all__ = ["Alternatives"]

_NAMED_GROUP = re.compile(r"\(\?P<\w+>")


class Alternatives:
    """Patterns of which the first that fits the beginning of a text holds; every group in them has a name.

    What all of them begin with is given once, as ``beginning``, and tried once.
    They are compiled when a text is first tried: who only names a trouble needs none.
    """

    def __init__(self, patterns: Sequence[str], beginning: str = "") -> None:
        without_groups = [_NAMED_GROUP.sub("(?:", pattern) for pattern in patterns]
        self._sources = [beginning + pattern for pattern in patterns]
        self._source = f"{beginning}(?:{'|'.join(f'({pattern})' for pattern in without_groups)})"
        self.pattern = f"{beginning}(?:{'|'.join(without_groups)})"
        """What fits where any of them does, without a group: the fastest to try."""

    @cached_property
    def _any(self) -> Pattern[str]:
        return re.compile(self._source)

    @cached_property
    def _each(self) -> Tuple[Pattern[str], ...]:
        return tuple(re.compile(source) for source in self._sources)

    def match(self, text: str) -> Optional[Tuple[int, Dict[str, Optional[str]]]]:
        r"""Number of the pattern that fits and what its groups hold, None when none fits.

        >>> Alternatives([r"port (?P<port>\d)", r"error (?P<errno>-\d+)"]).match("error -71")
        (1, {'errno': '-71'})
        """
        found = self._any.match(text)
        if found is None or found.lastindex is None:
            return None
        number = found.lastindex - 1
        fitting = self._each[number].match(text)
        return (number, fitting.groupdict()) if fitting else None
