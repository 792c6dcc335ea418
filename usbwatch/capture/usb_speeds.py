"""Rates of USB that more than one part speaks of."""

from __future__ import annotations

__all__ = ["SUPERSPEED_KBPS"]

SUPERSPEED_KBPS = 5_000_000
"""Gen 1: 5 Gbit/s, the least of all SuperSpeed rates."""
