"""Where captures are posted to unless told otherwise: one number for the kit's sender and the bench's listener."""

from __future__ import annotations

__all__ = ["DEFAULT_PORT"]

DEFAULT_PORT = 7613
"""TCP; no assigned use is known (from memory)."""
