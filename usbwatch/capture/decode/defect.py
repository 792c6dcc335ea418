"""What is wrong with bytes that a device sent, and where."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Defect"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Defect:
    """One thing wrong with a decoded block of bytes. It never stops the rest from being read."""

    offset: int
    """Where, in bytes from the start of the block."""
    problem: str
    """What is wrong, as one printable phrase."""
    length: int = 0
    """How many bytes from ``offset`` it leaves undecoded; 0 when the bytes were read, and what they say is wrong."""
