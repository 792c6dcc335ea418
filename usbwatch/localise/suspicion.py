"""The suspects of a unit: fault sets and parts, with what each accounts for."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from usbwatch.localise.observations import observations
from usbwatch.localise.paths import Layout, lay_out
from usbwatch.localise.posterior import FaultSet, Observation, likelihood, posterior
from usbwatch.model.findings import Findings
from usbwatch.model.profile import Profile
from usbwatch.model.suspects import Hypothesis, PartSuspicion, Site, Suspects

__all__ = ["HYPOTHESES_KEPT", "LEAST_PROBABILITY", "TELLING_RATIO", "accounts_for", "suspects"]

HYPOTHESES_KEPT = 20
"""At most so many hypotheses are listed; parts and ``nothing_wrong`` are summed over all of them."""

LEAST_PROBABILITY = 0.005
"""A hypothesis less probable than this is not listed, unless it is the likeliest."""

TELLING_RATIO = 2.0
"""A fault accounts for (or speaks against) an observation when it makes it so many times likelier (or less likely)."""


def suspects(findings: Findings, profile: Profile, depth: int = 2) -> Suspects:
    """What can have failed, by fault set and by part, likeliest first.

    Exact over all sets of at most ``depth`` faults. Raises ValueError for a
    negative depth.
    """
    layout = lay_out(profile, findings.variant)
    # Against a profile of another model nothing that was found says anything of a part.
    evidence = () if findings.other_model else observations(layout, findings)
    beliefs = posterior([site.prior for site in layout.sites], evidence, depth)
    ranked = sorted(beliefs, key=lambda faults: (-beliefs[faults], len(faults), faults))
    return Suspects(
        depth=depth,
        hypotheses=_hypotheses(layout, evidence, beliefs, ranked),
        parts=_parts(layout, evidence, beliefs, ranked),
        nothing_wrong=beliefs[()],
        unexplained=tuple(each.id for each in evidence if each.wrong and not _within_reach(each)),
    )


def accounts_for(faults: Collection[int], observation: Observation) -> bool:
    """Whether these faults make what was found wrong markedly likelier."""
    return observation.wrong and likelihood(observation, faults) >= TELLING_RATIO * observation.clean


def _within_reach(observation: Observation) -> bool:
    return any(accounts_for((hazard.site,), observation) for hazard in observation.hazards)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Account:
    """What a fault set makes of the evidence; the fields are those of ``Hypothesis``."""

    explains: tuple[str, ...]
    leaves: tuple[str, ...]
    against: tuple[str, ...]


def _account(faults: FaultSet, evidence: Sequence[Observation]) -> _Account:
    wrong = [each for each in evidence if each.wrong]
    well = [each for each in evidence if not each.wrong]
    return _Account(
        explains=tuple(each.id for each in wrong if accounts_for(faults, each)),
        leaves=tuple(each.id for each in wrong if not accounts_for(faults, each)),
        against=tuple(each.id for each in well if likelihood(each, faults) * TELLING_RATIO <= each.clean),
    )


def _hypotheses(
    layout: Layout, evidence: Sequence[Observation], beliefs: dict[FaultSet, float], ranked: Sequence[FaultSet]
) -> tuple[Hypothesis, ...]:
    kept = [faults for faults in ranked[:HYPOTHESES_KEPT] if beliefs[faults] >= LEAST_PROBABILITY] or ranked[:1]
    found = []
    for faults in kept:
        account = _account(faults, evidence)
        found.append(
            Hypothesis(
                sites=tuple(layout.sites[site] for site in faults),
                probability=beliefs[faults],
                explains=account.explains,
                leaves=account.leaves,
                against=account.against,
            )
        )
    return tuple(found)


def _parts(
    layout: Layout, evidence: Sequence[Observation], beliefs: dict[FaultSet, float], ranked: Sequence[FaultSet]
) -> tuple[PartSuspicion, ...]:
    """Every part that some site belongs to.

    A part can fail in several ways, so what it explains is told for the
    likeliest set of faults that lies in this part alone.
    """
    by_site, by_part = _marginals(layout, beliefs)
    ways: dict[str, list[tuple[Site, float]]] = {}
    for number, site in enumerate(layout.sites):
        ways.setdefault(site.part, []).append((site, by_site[number]))
    likeliest: dict[str, FaultSet] = {}
    for faults in ranked:
        parts = {layout.sites[site].part for site in faults}
        if len(parts) == 1:
            likeliest.setdefault(parts.pop(), faults)
    found = []
    for part, sites in ways.items():
        account = _account(likeliest.get(part, ()), evidence)
        found.append(
            PartSuspicion(
                part=part,
                probability=by_part.get(part, 0.0),
                sites=tuple(sorted(sites, key=lambda way: -way[1])),
                explains=account.explains,
                leaves=account.leaves,
                against=account.against,
            )
        )
    return tuple(sorted(found, key=lambda suspicion: -suspicion.probability))


def _marginals(layout: Layout, beliefs: dict[FaultSet, float]) -> tuple[list[float], dict[str, float]]:
    """Per site and per part: the probability of all sets that hold it."""
    by_site = [0.0] * len(layout.sites)
    by_part: dict[str, float] = {}
    for faults, probability in beliefs.items():
        for site in faults:
            by_site[site] += probability
        for part in {layout.sites[site].part for site in faults}:
            by_part[part] = by_part.get(part, 0.0) + probability
    return by_site, by_part
