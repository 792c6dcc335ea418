"""Which suppositions exclude each other: what is then refused, with one sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

from usbwatch.errors import BadSupposition
from usbwatch.localise.contradicting import cannot_be_yes
from usbwatch.localise.paths import Layout
from usbwatch.localise.sites import UNKNOWN_PART, SiteKind, kind_of, site_id
from usbwatch.localise.symptoms import row
from usbwatch.model.findings import Finding, Findings, Symptom
from usbwatch.model.ladder import Rung, Verdict
from usbwatch.model.profile import PartKind

__all__ = ["Supposition", "own_sites", "refuse_exclusive"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Supposition:
    """One thing that is supposed."""

    said: str
    """As it was typed."""
    of: str
    state: str


_LEAVE_ONE_OUT = "leave one of them out"
_LOST = frozenset({"absent", "failed"})
_WELL = frozenset({"working", "yes"})

_NEXT_TO_NEVER = 1e-3
"""A fault that lets what it spoils work less often than this excludes that it works."""


def refuse_exclusive(meant: Sequence[Supposition], layout: Layout) -> None:
    """Raise BadSupposition where one of the suppositions cannot be beside another, or beside several together."""
    _refuse_what_cannot_fail(meant, layout)
    _refuse_bad_within_good(meant, layout)
    for one, other in permutations(meant, 2):
        if _excludes(one, other, layout):
            raise BadSupposition(other.said, f'contradicts "{one.said}"', _LEAVE_ONE_OUT)


def _refuse_what_cannot_fail(meant: Sequence[Supposition], layout: Layout) -> None:
    for each in meant:
        if each.state in ("good", "bad") and not own_sites(each.of, layout):
            raise BadSupposition(each.said, "the profile knows no way in which it fails", "suppose something else")


def _refuse_bad_within_good(meant: Sequence[Supposition], layout: Layout) -> None:
    """What is bad must have a way to be so that nothing which is good covers."""
    good = [each for each in meant if each.state == "good"]
    for each in meant:
        left = own_sites(each.of, layout) if each.state == "bad" else frozenset()
        covering = [other for other in good if left & own_sites(other.of, layout)]
        if left and left <= frozenset().union(*(own_sites(other.of, layout) for other in covering)):
            names = " and ".join(f'"{other.said}"' for other in covering)
            verb = "covers" if len(covering) == 1 else "cover"
            raise BadSupposition(each.said, f"contradicts {names}, which {verb} it", _LEAVE_ONE_OUT)


def own_sites(of: str, layout: Layout) -> frozenset[int]:
    """What of the unit is then good or bad, by number of the site.

    Of a subassembly or a link all that is mended by replacing it; of a device
    its own electronics and its work, not its software; of anything else what
    it is named for.
    """
    replaced = {part.id for part in layout.profile.parts if part.kind in (PartKind.SUBASSEMBLY, PartKind.LINK)}
    sites = list(enumerate(layout.sites))
    if of in replaced:
        return frozenset(number for number, site in sites if site.part == of)
    return frozenset(number for number, site in sites if kind_of(site)[1] == of and site.part not in ("", UNKNOWN_PART))


def _excludes(one: Supposition, other: Supposition, layout: Layout) -> bool:
    """Whether the other cannot be so beside the one."""
    if other.state not in _WELL:
        return False
    if one.state == "bad":
        return _spoils(own_sites(one.of, layout), other, layout)
    if one.state not in _LOST or one.of == other.of:
        return False
    if other.state == "working":
        carrier = next((n for n, site in enumerate(layout.sites) if site.id == site_id(SiteKind.DEAD, one.of)), None)
        return carrier is not None and _spoils(frozenset({carrier}), other, layout)
    check = next(check for check in layout.profile.checks if check.id == other.of)
    return cannot_be_yes(check, _with_lost(one.of), layout.profile) != ""


def _spoils(faults: frozenset[int], well: Supposition, layout: Layout) -> bool:
    """Whether each of these faults alone keeps a device or a check from being well."""
    function = next((device.function for device in layout.profile.devices if device.id == well.of), "")
    effects = {step.site: step.effect for step in layout.paths[well.of]}
    return all(fault in effects and row(effects[fault], function)[Symptom.WORKING] < _NEXT_TO_NEVER for fault in faults)


def _with_lost(device: str) -> Findings:
    lost = Finding(device=device, verdict=Verdict.MISSING, rung=Rung.ABSENT, symptom=Symptom.ABSENT, reasons=())
    return Findings(profile="", findings=(lost,))
