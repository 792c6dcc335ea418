"""What a shop's closed cases come to: how often which failure was the cause.

Plain counts: whoever keeps the cases adds them up, and ``usbwatch.localise.rates`` says what follows from them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Dict, Optional

__all__ = ["Experience", "Grounds", "Tally"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How often one class of sites failed."""

    failed: int = 0
    """Of those sites, how many were the cause of a case, or one of its causes."""
    exposed: int = 0
    """Sites of the class that the units of those cases had, failed or not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Experience:
    """What the closed cases with a known cause come to for one profile. A case is of one model only: none counts twice.

    ``Experience()`` is the start, without any case.
    """

    cases: int = 0
    """Closed cases with a known cause, of all other models."""
    classes: Dict[str, Tally] = field(default_factory=dict)
    """By class of site (``usbwatch.localise.rates.site_class``), what became of its sites in those cases."""
    own: int = 0
    """Closed cases with a known cause, of this very model."""
    sites: Dict[str, int] = field(default_factory=dict)
    """By id of site, of how many of those it was the cause, or one of the causes."""
    exposed: Optional[Dict[str, int]] = None
    """By id of site, of how many of those the unit had it, failed or not: of none where it is not named.

    None: every unit had every site.
    """

    def own_tally(self, site: str) -> Tally:
        """One site of this very model in its closed cases."""
        exposed = self.own if self.exposed is None else min(self.own, self.exposed.get(site, 0))
        return Tally(failed=self.sites.get(site, 0), exposed=exposed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grounds:
    """What the prior of one site rests on."""

    site: str
    """Its id."""
    of_class: str
    """Its class of sites."""
    starting: float
    """The elicited value of the class."""
    weight: float
    """What the profile multiplies that by."""
    prior: float
    """What comes of it all: probability that the site has failed, before looking."""
    own: Tally
    """The site in closed cases of this very model."""
    others: Tally
    """Its class in closed cases of other models; none where no closed case can count for it."""
    other_cases: int
    """How many cases those are."""

    @property
    def counted(self) -> bool:
        """Whether any closed case stands behind the prior."""
        return self.own.exposed > 0 or self.others.exposed > 0
