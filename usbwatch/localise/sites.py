"""The ways in which a unit of a model can fail, and how likely each is before looking.

A prior starts from elicited numbers (``usbwatch.localise.kinds``), and a
shop's closed cases move it (``usbwatch.localise.rates``); ``Site.origin`` says
what stands behind it.
"""

from __future__ import annotations

from functools import lru_cache

from usbwatch.localise.kinds import (
    ACTS_IN_A_CAPTURE,
    ACTS_IN_A_WATCH,
    DEAD_PRIORS,
    HUNG_PRIORS,
    KINDS_OF_PART,
    PRIORS,
    SOFTWARE_PRIORS,
    TRIED_BY_HAND,
    UNKNOWN_PART,
    SiteKind,
    site_id,
)
from usbwatch.localise.rates import grounds_of
from usbwatch.localise.ways import Way, about, fitted, ways
from usbwatch.model.cases import Experience, Grounds
from usbwatch.model.profile import PartKind, Profile
from usbwatch.model.suspects import Cure, CureKind, Site

__all__ = [
    "ACTS_IN_A_CAPTURE",
    "ACTS_IN_A_WATCH",
    "DEAD_PRIORS",
    "HUNG_PRIORS",
    "KINDS_OF_PART",
    "PRIORS",
    "SOFTWARE_PRIORS",
    "TRIED_BY_HAND",
    "UNKNOWN_PART",
    "SiteKind",
    "about",
    "fitted",
    "kind_of",
    "own_link",
    "rests_on_cases",
    "site_id",
    "sites",
]


def kind_of(site: Site) -> tuple[SiteKind, str]:
    """What a site's id says: how it fails, and of what it is.

    >>> kind_of(Site(id="dead:keyboard", name="", part="", prior=0.1, origin=""))
    (<SiteKind.DEAD: 'dead'>, 'keyboard')
    """
    return _of_id(site.id)


@lru_cache(maxsize=4096)
def _of_id(id_: str) -> tuple[SiteKind, str]:
    kind, _, of = id_.partition(":")
    return SiteKind(kind), of


def own_link(device: str, profile: Profile) -> str:
    """Id of a link of the profile that this device alone needs, "" where it has none."""
    links = [part.id for part in profile.parts if part.kind is PartKind.LINK]
    needs = {each.id: each.needs for each in profile.devices}
    shared = {need for id_, its in needs.items() if id_ != device for need in its}
    return next((link for link in links if link in needs.get(device, ()) and link not in shared), "")


def sites(profile: Profile, experience: Experience | None = None) -> tuple[Site, ...]:
    """Every way in which a unit of this (fitted) profile can fail: parts first, then devices.

    Which they are, ``usbwatch.localise.ways`` says. Without experience every prior is the elicited one.
    """
    every = ways(profile)
    told = grounds_of(every, experience or Experience())
    return tuple(_site(way, told[way.site]) for way in every)


def _site(way: Way, rests_on: Grounds) -> Site:
    return Site(
        id=way.site,
        name=way.name,
        part=way.part,
        prior=rests_on.prior,
        origin=_origin(rests_on),
        cure=_cure(way.kind, way.of, way.part),
    )


def _origin(rests_on: Grounds) -> str:
    """Where a prior comes from: "3 of 41 closed cases of this model, from an elicited 0.02"."""
    weight = "" if rests_on.weight == 1 else f"; times {rests_on.weight:g}, the profile's weight"
    if not rests_on.counted:
        return f"elicited, no source{weight}"
    own, others = rests_on.own, rests_on.others
    said = []
    if own.exposed:
        said.append(f"{own.failed} of {own.exposed} closed {_cases(own.exposed)} of this model")
    if others.exposed:
        of_its_kind = f"{others.failed} of {others.exposed} of its kind"
        said.append(f"{of_its_kind} in {rests_on.other_cases} closed {_cases(rests_on.other_cases)} of other models")
    return f"{', '.join(said)}, from an elicited {rests_on.starting:g}{weight}"


def rests_on_cases(site: Site) -> bool:
    """Whether any closed case stands behind the prior of a site."""
    return " closed case" in site.origin


def _cases(count: int) -> str:
    return "case" if count == 1 else "cases"


_CURES = {
    SiteKind.OPEN: CureKind.RESEAT,
    SiteKind.SOFTWARE: CureKind.RELOAD,
    SiteKind.HUNG: CureKind.DRAIN,
}
"""What mends each kind of failure at the least cost; all others are mended by replacing the part."""


def _cure(kind: SiteKind, of: str, part: str) -> Cure | None:
    if kind is SiteKind.UNKNOWN:
        return None
    mends = _CURES.get(kind, CureKind.REPLACE)
    return Cure(kind=mends, of={CureKind.DRAIN: "", CureKind.REPLACE: part}.get(mends, of))
