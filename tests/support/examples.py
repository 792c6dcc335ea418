"""How many examples of a property are tried, where a profile's own number is too many."""

from __future__ import annotations

from hypothesis import settings

__all__ = ["PLAIN", "costly"]

PLAIN = 15
"""Of each property in a plain run."""


def costly(number: int) -> int:
    """For a property whose examples take long: so many in a plain run, and more in proportion under another profile."""
    return max(1, number * settings().max_examples // PLAIN)
