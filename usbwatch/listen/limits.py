"""How much of anything the server takes from whoever connects."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["PIECE", "Limits"]

PIECE = 65_536
"""Bytes read of a connection at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Seconds, bytes and counts; the defaults are those of the command."""

    head_s: float = 5.0
    """From the connection to the end of the request's head."""
    idle_s: float = 10.0
    """Without any byte of a body."""
    body_s: float = 120.0
    """For a whole body, however fast."""
    grace_s: float = 5.0
    """After this a body must have come at ``slowest`` or faster, on average."""
    slowest: int = 16_384
    """Bytes a second."""
    answer_s: float = 5.0
    """For an answer to be taken, and for what is still coming to be read and thrown away after a refusal."""
    keep_s: float = 30.0
    """For what was received to be read and kept."""
    judge_s: float = 60.0
    """For the check of what was kept."""
    stop_s: float = 5.0
    """For what is being received to end, once the server is to stop."""
    head_bytes: int = 16_384
    largest: int = 64 * 1024 * 1024
    """Bytes of a body, as of a capture file and of an archive."""
    connections: int = 64
    """At once; beyond that the oldest that has not shown a right to send is dropped."""
    receiving: int = 8
    """Bodies at once; beyond that a sender is told to come again; where no code is asked for, the oldest is dropped."""
    working: int = 2
    """Processes that read and check captures, at once."""
    drained: int = 1024 * 1024
    """Bytes read and thrown away after a refusal, so that its sentence arrives."""
