"""The unit as it comes apart: blocks, what joins them, and what became of each device."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from usbwatch.localise.kinds import SiteKind
from usbwatch.localise.sites import kind_of
from usbwatch.model import ExpectedDevice, Finding, Part, PartKind, PartSuspicion, Verdict
from usbwatch.show.check_view import how_well
from usbwatch.show.checked import Checked
from usbwatch.show.harness import Stub, stubs
from usbwatch.show.report.value import Block, Device, Joint
from usbwatch.show.safe import safe
from usbwatch.show.verdict import judged_wrong

__all__ = ["blocks", "suspicions"]

_NAME = 60
_REASON = 400

_WORTH_NAMING = 0.1
"""From this probability on, a suspect is marked where it sits: the same bound as on the page of a check."""


_INNER = (SiteKind.SECTION, SiteKind.RAIL)


def suspicions(checked: Checked) -> dict[str, float]:
    """By id of a part, that it is at fault; none where nothing is wrong or no part can be named.

    A rail or section is replaced with what it lies in, so its own chance is that of failing in that one way.
    """
    if not judged_wrong(checked.findings) or checked.findings.other_model:
        return {}
    telling = [one for one in checked.suspects.parts if one.part and one.explains and one.probability >= _WORTH_NAMING]
    inside = {of: chance for one in telling for (kind, of), chance in _sites(one) if kind in _INNER}
    return inside | {one.part: one.probability for one in telling}


def _sites(one: PartSuspicion) -> Iterator[tuple[tuple[SiteKind, str], float]]:
    return ((kind_of(site), chance) for site, chance in one.sites if chance >= _WORTH_NAMING)


def blocks(checked: Checked) -> tuple[Block, ...]:
    """Every subassembly of the profile, with its links, rails, sections and devices."""
    suspected = suspicions(checked)
    return tuple(_block(stub, checked, suspected) for stub in stubs(checked.profile))


def _block(stub: Stub, checked: Checked, suspected: Mapping[str, float]) -> Block:
    part = stub.part
    if part is None:
        return Block(id="", name="In no subassembly", devices=_devices(stub, checked))
    toward = stub.toward.id if stub.toward else ""
    return Block(
        id=part.id,
        name=safe(part.name, _NAME),
        toward=toward,
        links=tuple(_joint(link, suspected, near=toward, far=part.id) for link in stub.links),
        inner=tuple(
            _joint(one, suspected, near=part.id)
            for one in checked.profile.parts
            if one.within == part.id and one.kind in (PartKind.RAIL, PartKind.SECTION)
        ),
        devices=_devices(stub, checked),
        probability=suspected.get(part.id),
    )


def _joint(part: Part, suspected: Mapping[str, float], *, near: str, far: str = "") -> Joint:
    return Joint(
        id=part.id,
        name=safe(part.name, _NAME),
        kind=part.kind,
        near=near,
        far=far,
        probability=suspected.get(part.id),
    )


def _devices(stub: Stub, checked: Checked) -> tuple[Device, ...]:
    found = {finding.device: finding for finding in checked.findings.findings}
    names = {device.id: safe(device.name, _NAME) for device in checked.profile.devices}
    return tuple(_device(device, found[device.id], names) for device in stub.devices if device.id in found)


def _device(device: ExpectedDevice, finding: Finding, names: Mapping[str, str]) -> Device:
    return Device(
        id=device.id,
        name=names[device.id],
        verdict=finding.verdict,
        got=_got(device, finding),
        reasons=tuple(safe(reason, _REASON) for reason in finding.reasons),
        would_tell=safe(finding.would_tell, _REASON),
        charged_to=names.get(finding.charged_to, "") if finding.verdict is not Verdict.PRESENT else "",
        needs=device.needs,
    )


def _got(device: ExpectedDevice, finding: Finding) -> str:
    """How far it got where its verdict does not say so, or how well it does."""
    if finding.verdict is Verdict.PRESENT:
        return how_well(device, finding).strip(" ()")
    if finding.verdict is Verdict.IMPAIRED and not finding.rung.reaches(device.reaches):
        return f"got as far as {finding.rung.value}"
    return ""
