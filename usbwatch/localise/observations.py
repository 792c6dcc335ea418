"""What was found, as evidence: one observation per finding and per answered hand check."""

from __future__ import annotations

from usbwatch.localise.paths import Layout
from usbwatch.localise.posterior import Hazard, Observation
from usbwatch.localise.symptoms import WRONGLY_NO, Effect, row
from usbwatch.model.findings import Finding, Findings, Symptom
from usbwatch.model.profile import ExpectedDevice

__all__ = ["answered", "observations", "observed"]


def observations(layout: Layout, findings: Findings) -> tuple[Observation, ...]:
    """The evidence in the profile's order, whatever order it was found in.

    A finding adds nothing when it is unseen, or when it is charged to another
    device, where it is counted once. Nor does the absence of an optional
    device: not every unit has one. Of several answers to a check the last counts.
    """
    by_device = {finding.device: finding for finding in findings.findings}
    by_check = {answer.check: answer.yes for answer in findings.answers}
    devices = (
        observed(layout, device, by_device[device.id].symptom)
        for device in layout.profile.devices
        if device.id in by_device and _tells(by_device[device.id], device)
    )
    checks = (
        answered(layout, check.id, yes=by_check[check.id]) for check in layout.profile.checks if check.id in by_check
    )
    return (*devices, *checks)


def observed(layout: Layout, device: ExpectedDevice, symptom: Symptom) -> Observation:
    """A device that shows this symptom (not ``UNSEEN``)."""
    wrong = symptom is not Symptom.WORKING
    hazards = []
    for step in layout.paths[device.id]:
        chances = row(step.effect, device.function)
        shows = chances[symptom] if wrong else 0.0
        hazards.append(Hazard(site=step.site, passes=chances[Symptom.WORKING], shows=shows))
    clean = row(Effect.WORKS, device.function)[symptom]
    return Observation(id=device.id, wrong=wrong, clean=clean, hazards=tuple(hazards))


def answered(layout: Layout, check: str, *, yes: bool) -> Observation:
    """A hand check with this answer: yes is *working*, no is anything else."""
    hazards = []
    for step in layout.paths[check]:
        passes = row(step.effect, "")[Symptom.WORKING]
        hazards.append(Hazard(site=step.site, passes=passes, shows=0.0 if yes else 1 - passes))
    clean = 1 - WRONGLY_NO if yes else WRONGLY_NO
    return Observation(id=check, wrong=not yes, clean=clean, hazards=tuple(hazards))


def _tells(finding: Finding, device: ExpectedDevice) -> bool:
    unseen = finding.symptom is Symptom.UNSEEN or finding.charged_to != ""
    return not unseen and not (device.optional and finding.symptom is Symptom.ABSENT)
