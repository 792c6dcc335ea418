"""What was found, as evidence: one observation per finding and per answered hand check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from usbwatch.localise.courses import Course, changed
from usbwatch.localise.paths import Layout
from usbwatch.localise.sites import SiteKind, kind_of
from usbwatch.localise.symptoms import (
    MISTAKEN_AGAIN,
    MISTAKEN_DANGER,
    SOFTWARE_UNTOLD,
    UNTOLD_ELSEWHERE,
    WRONGLY_NO,
    Effect,
    row,
)
from usbwatch.localise.tried import ELSEWHERE, HELPER, MEASURE, beside_checks, helpers, on_usb
from usbwatch.localise.watching import apart, was_watched
from usbwatch.localise.weighing import Hazard, Observation
from usbwatch.model.findings import Finding, Findings, Symptom
from usbwatch.model.profile import ExpectedDevice
from usbwatch.model.steps import Look

__all__ = ["answered", "holding", "in_look", "observations", "observed"]


def observations(layout: Layout, findings: Findings) -> tuple[Observation, ...]:
    """What one look shows, in the profile's order, whatever order it was found in; each hazard names a site.

    A finding adds nothing when it is unseen, or when it is charged to another
    device, where it is counted once. Nor does the absence of an optional
    device: not every unit has one. Of several answers to a check the last counts.
    """
    if findings.other_model:  # against a profile of another model nothing that was found says anything of a part
        return ()
    by_check = {answer.check: answer for answer in findings.answers}
    telling = _telling(layout, findings)
    devices = apart(
        layout,
        telling,
        tuple(
            observed(
                layout,
                device,
                telling[device.id].symptom,
                software_told=telling[device.id].software != "",
                watched=was_watched(telling[device.id]),
            )
            for device in layout.profile.devices
            if device.id in telling
        ),
    )
    checks = (
        answered(layout, check.id, yes=by_check[check.id].yes, again=by_check[check.id].again)
        for check in layout.profile.checks
        if check.id in by_check
    )
    beside = beside_checks(layout, {id_: answer.yes for id_, answer in by_check.items()})
    return (*devices, *checks, *beside, *helpers(layout, findings))


def _telling(layout: Layout, findings: Findings) -> dict[str, Finding]:
    """The findings that tell something, by device."""
    found = {finding.device: finding for finding in findings.findings}
    devices = [device for device in layout.profile.devices if device.id in found]
    return {device.id: found[device.id] for device in devices if _tells(found[device.id], device)}


def _tells(finding: Finding, device: ExpectedDevice) -> bool:
    unseen = finding.symptom is Symptom.UNSEEN or finding.charged_to != ""
    return not unseen and not (device.optional and finding.symptom is Symptom.ABSENT)


def observed(
    layout: Layout, device: ExpectedDevice, symptom: Symptom, *, software_told: bool = False, watched: bool = False
) -> Observation:
    """A device that shows this symptom (not ``UNSEEN``).

    ``software_told``: the capture shows something of the system that could explain it. ``watched``: it was watched
    in this look (``usbwatch.localise.watching``); what comes and goes always was.
    """
    watched = watched or symptom is Symptom.INTERMITTENT
    wrong = symptom is not Symptom.WORKING
    hazards = []
    for step in layout.paths[device.id]:
        chances = row(step.effect, device.function, watched=watched)
        shows = chances[symptom] if wrong else 0.0
        if step.effect is Effect.SOFTWARE and symptom is Symptom.ABSENT and not software_told:
            shows *= _untold(device)
        hazards.append(Hazard(fault=step.site, passes=chances[Symptom.WORKING], shows=shows))
    clean = row(Effect.WORKS, device.function, watched=watched)[symptom]
    return Observation(id=device.id, wrong=wrong, clean=clean, hazards=tuple(hazards))


def _untold(device: ExpectedDevice) -> float:
    """Of the cases in which software keeps a device away, how many leave no trace of that in a capture.

    All of them for a device that may sit anywhere: nobody says where it was looked for.
    """
    if not device.locations:
        return 1.0
    share = SOFTWARE_UNTOLD.get(device.function, SOFTWARE_UNTOLD[""])
    return share if on_usb(device) else max(share, UNTOLD_ELSEWHERE)


def answered(layout: Layout, check: str, *, yes: bool, again: bool = False) -> Observation:
    """A hand check with this answer: yes is *working*, no is anything else. ``again``: it came out so twice."""
    hazards = []
    for step in layout.paths[check]:
        passes = row(step.effect, "")[Symptom.WORKING]
        hazards.append(Hazard(fault=step.site, passes=passes, shows=0.0 if yes else 1 - passes))
    stops = any(each.id == check and each.stop for each in layout.profile.checks)
    mistaken = (MISTAKEN_DANGER if stops else WRONGLY_NO) * (MISTAKEN_AGAIN if again else 1)
    clean = 1 - mistaken if yes else mistaken
    return Observation(id=check, wrong=not yes, clean=clean, hazards=tuple(hazards))


def in_look(shown: Sequence[Observation], courses: Sequence[Course], look: int) -> tuple[Observation, ...]:
    """Observations of sites as some of the courses that act in this look."""
    acting: dict[int, list[int]] = {}
    for number, course in enumerate(courses):
        if course.acts[look]:
            acting.setdefault(course.site, []).append(number)
    return tuple(
        replace(
            each,
            hazards=tuple(
                Hazard(fault=number, passes=hazard.passes, shows=hazard.shows)
                for hazard in each.hazards
                for number in acting.get(hazard.fault, ())
            ),
        )
        for each in shown
    )


def holding(layout: Layout, courses: Sequence[Course], looks: Sequence[Look]) -> tuple[Observation, ...]:
    """What holds after the last look, in the profile's order: how each thing was seen last.

    An earlier sighting holds while no step since can have changed anything on
    its path. One found well does not when the last look finds the device
    gone, or one that it hangs on.
    """
    last = looks[-1].findings
    if last.other_model:
        return ()
    gone = _gone(layout, {each.device for each in last.findings if each.symptom is Symptom.ABSENT})
    latest: dict[str, tuple[int, Observation]] = {}
    for number, (look, reached) in enumerate(zip(looks, changed(layout.sites, looks, layout.profile), strict=True)):
        latest = {id_: each for id_, each in latest.items() if not _reaches(reached, each[1])}
        latest |= {each.id: (number, each) for each in observations(layout, look.findings)}
    profile, now = layout.profile, len(looks) - 1
    ids = [*(each.id for each in profile.devices), *(each.id for each in profile.checks)]
    ids += [f"{prefix}{each.id}" for prefix in (MEASURE, ELSEWHERE) for each in profile.parts]
    ids += sorted({f"{HELPER}{each.function}" for each in profile.devices})
    kept = [latest[id_] for id_ in ids if id_ in latest]
    return tuple(
        seen
        for number, each in kept
        if number == now or each.wrong or each.id not in gone
        for seen in in_look((each,), courses, number)
    )


def _gone(layout: Layout, absent: set[str]) -> set[str]:
    """These devices, and all that hang on one of them."""
    carriers = {
        number
        for number, site in enumerate(layout.sites)
        if kind_of(site)[0] is SiteKind.DEAD and kind_of(site)[1] in absent
    }
    return {id_ for id_, path in layout.paths.items() if any(step.site in carriers for step in path)}


def _reaches(reached: frozenset[int], shown: Observation) -> bool:
    return any(hazard.fault in reached for hazard in shown.hazards)
