"""Fault hypotheses with their probabilities."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

__all__ = ["Cure", "CureKind", "CureSuspicion", "Hypothesis", "PartSuspicion", "Site", "Suspects"]


class CureKind(Enum):
    """What is done to mend a fault."""

    RESEAT = "reseat"
    REPLACE = "replace"
    RELOAD = "reload"
    """Load, enable or unblock in software or in firmware set-up."""
    DRAIN = "drain"
    """Leave the unit without any power for a while, adapter and battery."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """What mends a fault; several faults can share one."""

    kind: CureKind
    of: str
    """Id of the part, or of the device whose software it is; "" for the unit as a whole."""

    @property
    def id(self) -> str:
        """``reseat:top-case-flex``, ``replace:top-case``, ``drain:``."""
        return f"{self.kind.value}:{self.of}"


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
    cure: Cure | None = None
    """What mends it at the least cost; None for what the profile does not know."""


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
    mended: tuple[str, ...] = ()
    """Ids of those of the sites whose fault a step has mended since."""


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
    most_for: str = ""
    """Id of the device or hand check that argues most for this part, "" when none does."""
    most_against: str = ""
    """Id of the one that argues most against it, "" when none does."""
    for_was_wrong: bool = True
    """Whether ``most_for`` was found wrong in the look in which it argued, which need not be the last."""
    against_was_wrong: bool = False
    """The same of ``most_against``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CureSuspicion:
    """How probable it is that a cure is among what the unit needs."""

    cure: Cure
    probability: float
    alone: float
    """Probability that nothing else is needed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspects:
    """The posterior over all fault sets; hypotheses are those of up to ``depth`` faults."""

    depth: int
    left_out: float | None
    """Probability of all sets of more faults together; None when it could not be worked out."""
    hypotheses: tuple[Hypothesis, ...]
    """Likeliest first."""
    parts: tuple[PartSuspicion, ...]
    """Likeliest first. Their probabilities may add to more than 1: two parts can both be at fault."""
    nothing_wrong: float
    """Probability that no part known to the profile has failed."""
    unexplained: tuple[str, ...]
    """Ids found wrong that no single part of the profile can account for."""
    cures: tuple[CureSuspicion, ...] = ()
    """Likeliest first."""
    fewest: tuple[tuple[Site, ...], ...] = ()
    """The sets of fewest known faults that explain all that is wrong, likeliest first; none when three do not."""
