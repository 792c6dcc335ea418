"""What a live watch of a unit tells beside each single finding: that a device was watched, and what left together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from usbwatch.compare.intermittence import LONG_ENOUGH_MS
from usbwatch.localise.kinds import ACTS_IN_A_CAPTURE, ACTS_IN_A_WATCH, SiteKind
from usbwatch.localise.paths import Layout
from usbwatch.localise.symptoms import MOVED_APART, Effect
from usbwatch.localise.weighing import Observation
from usbwatch.model.findings import Finding, Findings, Symptom

__all__ = ["acting", "apart", "was_watched", "watched_look"]

_OWN = frozenset({Effect.SOFTWARE, Effect.HUNG, Effect.DEAD, Effect.POOR_ITSELF, Effect.UNKNOWN})
"""What reaches one device alone."""


def was_watched(finding: Finding) -> bool:
    """Whether a device was watched long enough, and in a way, that it would have been seen to leave.

    Of one that is unseen, or lost with what carries it, nothing is known.
    """
    if finding.symptom is Symptom.UNSEEN or finding.charged_to:
        return False
    watched = finding.watched
    if finding.symptom is Symptom.INTERMITTENT:
        return True
    return watched is not None and watched.tells and watched.lasted_ms >= LONG_ENOUGH_MS


def watched_look(findings: Findings) -> bool:
    """Whether any device was watched so in this look."""
    return any(finding.watched is not None and was_watched(finding) for finding in findings.findings)


def acting(kind: SiteKind, *, watched: bool) -> float:
    """How often a fault of this kind that is there shows itself in a look at a unit that is left alone."""
    usual = ACTS_IN_A_CAPTURE.get(kind, 1.0)
    return max(usual, ACTS_IN_A_WATCH.get(kind, usual)) if watched else usual


def apart(layout: Layout, telling: Mapping[str, Finding], devices: Sequence[Observation]) -> tuple[Observation, ...]:
    """The observations of devices, where those that come and go at different moments share no cause so easily.

    The chance that one fault shows at two devices is that of the first, times
    that of the second given the first. So the first that a fault reaches, in
    the profile's order, counts in full, and each later one that left at other
    moments than all before it by the chance of that.
    """
    before: dict[int, list[str]] = {}
    found = []
    for seen in devices:
        watched = telling[seen.id].watched
        if telling[seen.id].symptom is not Symptom.INTERMITTENT or watched is None or not watched.left:
            found.append(seen)
            continue
        shared = {step.site for step in layout.paths[seen.id] if step.effect not in _OWN}
        alone = {site for site in shared if before.get(site) and not set(before[site]) & set(watched.together)}
        for site in shared:
            before.setdefault(site, []).append(seen.id)
        found.append(_less_likely(seen, alone))
    return tuple(found)


def _less_likely(seen: Observation, sites: set[int]) -> Observation:
    hazards = (replace(each, shows=each.shows * MOVED_APART) if each.fault in sites else each for each in seen.hazards)
    return replace(seen, hazards=tuple(hazards)) if sites else seen
