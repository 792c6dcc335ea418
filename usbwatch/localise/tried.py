"""What is established beside a capture and the hand checks: with a meter, a helper device, or another unit."""

from __future__ import annotations

from collections.abc import Iterator

from usbwatch.localise.paths import Layout
from usbwatch.localise.sites import SiteKind, kind_of
from usbwatch.localise.weighing import Hazard, Observation
from usbwatch.model.findings import Findings
from usbwatch.model.ladder import Rung
from usbwatch.model.location import port_chain
from usbwatch.model.profile import ExpectedDevice

__all__ = [
    "ELSEWHERE",
    "ELSEWHERE_MISLEADS",
    "HELPER",
    "HELPER_WORKS_ANYWAY",
    "MEASURE",
    "METER_MISTAKEN",
    "beside_checks",
    "helped",
    "helpers",
    "measured",
    "on_usb",
    "works_elsewhere",
]

MEASURE = "measure:"
"""Begins the id of an answer that was had with a meter; the id of the part follows."""

METER_MISTAKEN = 0.02
"""How often a measurement misleads: a wrong pin, a contact that the probe makes good (elicited, no source)."""

_MEASURED = (SiteKind.RAIL, SiteKind.BROKEN)


def measured(layout: Layout, part: str, *, yes: bool) -> Observation:
    """A part put to the meter: yes is a rail at its voltage and free of shorts, or a link with every line whole."""
    passes = METER_MISTAKEN
    hazards = tuple(
        Hazard(fault=number, passes=passes, shows=0.0 if yes else 1 - passes)
        for number, site in enumerate(layout.sites)
        if (kind_of(site)[1] == part and kind_of(site)[0] in _MEASURED)
        or (site.part == part and kind_of(site)[0] is SiteKind.SECTION)  # lines of this link
    )
    return Observation(id=f"{MEASURE}{part}", wrong=not yes, clean=1 - passes if yes else passes, hazards=hazards)


ELSEWHERE = "elsewhere:"
"""Begins the id of an answer that was had with a part in another unit; the id of the subassembly follows."""

ELSEWHERE_MISLEADS = 0.05
"""How often a part that is bad does its work in another unit, or a good one does not (elicited, no source)."""


def works_elsewhere(layout: Layout, part: str, *, yes: bool) -> Observation:
    """A subassembly tried in another unit of the model: yes is that it does all its work there."""
    passes = ELSEWHERE_MISLEADS
    hazards = tuple(
        Hazard(fault=number, passes=passes, shows=0.0 if yes else 1 - passes)
        for number, site in enumerate(layout.sites)
        if site.part == part and kind_of(site)[0] not in (SiteKind.DANGER, SiteKind.UNKNOWN)
    )
    clean = 1 - ELSEWHERE_MISLEADS if yes else ELSEWHERE_MISLEADS
    return Observation(id=f"{ELSEWHERE}{part}", wrong=not yes, clean=clean, hazards=hazards)


HELPER = "helper:"
"""Begins the id of what a helper device tells that a capture shows in a socket; its function follows."""

HELPER_WORKS_ANYWAY = 0.5
"""How often a helper works though software keeps the unit's own device of that function away (elicited, no source).

The driver is then there: it is that one device that is disabled or blocked.
"""


def helped(layout: Layout, function: str) -> Observation:
    """A helper device of this function works: controller, driver and system can do with such a one on USB."""
    own = {each.id for each in layout.profile.devices if each.function == function and on_usb(each)}
    hazards = tuple(
        Hazard(fault=number, passes=HELPER_WORKS_ANYWAY, shows=0.0)
        for number, site in enumerate(layout.sites)
        if kind_of(site)[0] is SiteKind.SOFTWARE and kind_of(site)[1] in own
    )
    return Observation(id=f"{HELPER}{function}", wrong=False, clean=1 - ELSEWHERE_MISLEADS, hazards=hazards)


def helpers(layout: Layout, findings: Findings) -> Iterator[Observation]:
    """What the helper devices tell that work; one that does not may be bad itself, and tells nothing."""
    working = {function for node in findings.external if node.rung.reaches(Rung.BOUND) for function in node.functions}
    for function in sorted(working):
        seen = helped(layout, function)
        if seen.hazards:
            yield seen


def beside_checks(layout: Layout, answers: dict[str, bool]) -> Iterator[Observation]:
    """What was measured, and what was tried in another unit."""
    for part in layout.profile.parts:
        for prefix, told in ((MEASURE, measured), (ELSEWHERE, works_elsewhere)):
            yes = answers.get(f"{prefix}{part.id}")
            if yes is not None:
                yield told(layout, part.id, yes=yes)


def on_usb(device: ExpectedDevice) -> bool:
    """Whether a port sees the device, driver or no driver."""
    return device.locations != () and all(port_chain(place) for place in device.locations)
