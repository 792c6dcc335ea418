"""What a bench step does to a fault: whether it outlives the step, and whether the step can bring it about.

All figures are elicited and have no source. None is 0 or 1 where a step
reaches: a part known to be good is sometimes not, a connector can be missed
when it is seated again, and a step can be written down for the wrong part.
"""

from __future__ import annotations

from dataclasses import dataclass

from usbwatch.localise.sites import SiteKind, kind_of
from usbwatch.model.profile import Part, PartKind, Profile
from usbwatch.model.steps import Step, StepKind
from usbwatch.model.suspects import Site

__all__ = ["BAD_PART", "UNTOUCHED", "Fate", "fates"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fate:
    """How a site fares in a step."""

    survives: float
    """Probability that its fault, if it has one, is still there afterwards."""
    born: float
    """Probability that it has one afterwards, if it had none."""
    renewed: float = 0.0
    """Of the faults that are still there afterwards, how many are those of the new part: they show afresh."""
    puts_in: bool = False
    """Whether the part that it belongs to is exchanged for another one; the old one is laid aside."""
    puts_back: bool = False
    """Whether the part that was laid aside first comes back; where none was, the other two figures hold."""


UNTOUCHED = Fate(survives=1.0, born=0.0)

BAD_PART = {StepKind.SWAP: 0.03, StepKind.FIT: 0.02, StepKind.MOVE: 0.02}
"""How often what is put in has a fault of its own: a part from the shelf, one that was bought, another connector."""

MISSED = 0.002
"""How often a fault outlives the replacement of its part: the wrong one was changed, or written down."""

_RESEATED = {
    SiteKind.OPEN: Fate(survives=0.1, born=0.004),
    SiteKind.BROKEN: Fate(survives=1.0, born=0.002),
    SiteKind.LOOSE: Fate(survives=0.6, born=0.001),
}
_DRAINED = Fate(survives=0.05, born=0.0)
_RELOADED = {SiteKind.SOFTWARE: Fate(survives=0.05, born=0.0), SiteKind.HUNG: Fate(survives=0.3, born=0.0)}

_OPENING = frozenset({StepKind.RESEAT, StepKind.SWAP, StepKind.FIT, StepKind.BACK, StepKind.MOVE, StepKind.DRAIN})
"""Steps before which adapter and battery are disconnected, so that nothing stays hung."""


def fates(sites: tuple[Site, ...], step: Step, profile: Profile) -> tuple[Fate, ...]:
    """The fate of every site in one step; fitting an assembly also seats its connectors again."""
    parts = {part.id: part for part in profile.parts}
    joined = {part.id for part in profile.parts if step.of in part.joins or part.id == step.of}
    shares = _shares(sites, step) if step.kind in BAD_PART else {}
    moved = joined if _moves_connectors(step, parts) else set()
    return tuple(_fate(site, step, moved, shares) for site in sites)


def _moves_connectors(step: Step, parts: dict[str, Part]) -> bool:
    is_link = step.of in parts and parts[step.of].kind is PartKind.LINK
    return step.kind in BAD_PART or step.kind is StepKind.BACK or (step.kind is StepKind.RESEAT and is_link)


def _shares(sites: tuple[Site, ...], step: Step) -> dict[str, float]:
    """The chance of a bad part, shared among the ways in which that part fails."""
    own = [site for site in sites if _is_of_part(site, step.of)]
    total = sum(site.prior for site in own)
    return {site.id: BAD_PART[step.kind] * site.prior / total for site in own}


def _is_of_part(site: Site, part: str) -> bool:
    return site.part == part and kind_of(site)[0] is not SiteKind.UNKNOWN


def _fate(site: Site, step: Step, joined: set[str], shares: dict[str, float]) -> Fate:
    kind, of = kind_of(site)
    if site.id in shares:
        # What is put in is bad or not whatever the old part was: a second new part can have the same fault.
        born = shares[site.id]
        survives = MISSED + (1 - MISSED) * born
        return Fate(survives=survives, born=born, renewed=1 - MISSED / survives, puts_in=True)
    if step.kind is StepKind.BACK and _is_of_part(site, step.of):
        return Fate(survives=1.0, born=MISSED * site.prior, puts_back=True)
    if of in joined and kind in _RESEATED:
        return _RESEATED[kind]
    if step.kind is StepKind.RELOAD and of == step.of:
        return _RELOADED.get(kind, UNTOUCHED)
    return _DRAINED if kind is SiteKind.HUNG and step.kind in _OPENING else UNTOUCHED
