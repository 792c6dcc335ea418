"""Fault hypotheses with their probabilities, and what would tell them apart."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Discriminator", "Hypothesis", "PartSuspicion", "Site", "Suspects"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """One way in which one thing fails."""

    id: str
    """``dead:keyboard``, ``link:top-case-flex``, ``software:camera``, …"""
    name: str
    """In words: "keyboard itself", "top-case flex open or unseated", …"""
    part: str
    """Id of the part that is replaced or reseated to mend it; "" for software."""
    prior: float
    """Probability that it has failed, before looking."""
    origin: str
    """Where the prior comes from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """A set of simultaneous faults, and how it fits what was found."""

    sites: tuple[Site, ...]
    """Empty: nothing that the profile knows has failed."""
    probability: float
    explains: tuple[str, ...]
    """Ids of devices and hand checks found wrong that it accounts for."""
    leaves: tuple[str, ...]
    """Ids found wrong that it does not account for."""
    against: tuple[str, ...]
    """Ids found well that it would have spoiled."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSuspicion:
    """How probable it is that mending one part mends (part of) the unit."""

    part: str
    """Part id, or "" for software."""
    probability: float
    sites: tuple[tuple[Site, float], ...]
    """The ways it can have failed, with their probabilities, likeliest first."""
    explains: tuple[str, ...]
    leaves: tuple[str, ...]
    against: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspects:
    """The posterior over all hypotheses of up to ``depth`` faults."""

    depth: int
    hypotheses: tuple[Hypothesis, ...]
    """Likeliest first."""
    parts: tuple[PartSuspicion, ...]
    """Likeliest first. Their probabilities may add to more than 1: two parts can both be at fault."""
    nothing_wrong: float
    """Probability that no part known to the profile has failed."""
    unexplained: tuple[str, ...]
    """Ids found wrong that no single part of the profile can account for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Discriminator:
    """An observation not yet made that would move the suspicion."""

    id: str
    """Id of the hand check or unseen device."""
    question: str
    information_bits: float
    """Expected information about which part has failed."""
    if_yes: str
    """What the answer "yes, it works" would point to."""
    if_no: str
    caution: str = ""
    minutes: int = 1
