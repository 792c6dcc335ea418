"""What looking again can tell of a device that comes and goes, and what is to be watched again before a case is closed.

A plain capture that shows such a device there says little, and one that shows
it gone says what is known. Moving a link tells whether it is that link; once
a watch has all but proven it, moving it again tells nothing (common practice,
no source).
"""

from __future__ import annotations

from collections.abc import Collection

from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.observations import observed
from usbwatch.localise.sites import SiteKind, kind_of, own_link
from usbwatch.model.findings import Findings, Symptom
from usbwatch.model.plan import Action
from usbwatch.model.profile import ExpectedDevice, Profile
from usbwatch.plan.candidate import Candidate

__all__ = ["came_and_went", "comes_and_goes", "loose_links", "plugs_first", "shown_loose", "watch_alone"]

_SHOWN = 0.9
"""From this probability on, that a link makes contact only at times is taken as shown (elicited, no source)."""

_WATCH_MINUTES = 3
"""Bench time to watch a unit that is left alone (elicited, no source)."""


def came_and_went(findings: Findings) -> tuple[str, ...]:
    """Ids of the devices that are there, came and went before, and were not watched since."""
    return tuple(finding.device for finding in findings.findings if finding.came_and_went)


def comes_and_goes(beliefs: Beliefs, findings: Findings) -> bool:
    """Whether all that is wrong now comes and goes, so that the same look once more would tell nothing."""
    at_times = {finding.device for finding in findings.findings if finding.symptom is Symptom.INTERMITTENT}
    wrong = {each.id for each in beliefs.current if each.wrong}
    return bool(wrong) and wrong <= at_times


def loose_links(beliefs: Beliefs) -> dict[str, float]:
    """By id of a link, how probable it is that it makes, or made before a step, contact only at times."""
    found: dict[str, float] = {}
    for course, chance in zip(beliefs.courses, beliefs.marginals, strict=True):
        kind, of = kind_of(beliefs.layout.sites[course.site])
        if kind is SiteKind.LOOSE:
            found[of] = found.get(of, 0.0) + chance
    return found


def shown_loose(beliefs: Beliefs, devices: Collection[str]) -> bool:
    """Whether one link that all of these devices hang on was as good as shown to make contact only at times."""
    links = {link for link, chance in loose_links(beliefs).items() if chance >= _SHOWN}
    needs = [{*device.needs} for device in beliefs.layout.profile.devices if device.id in devices]
    return bool(needs) and bool(links.intersection(*needs))


def plugs_first(findings: Findings, profile: Profile) -> dict[str, str]:
    """By id of a subassembly, what to do before a new one is bought, where one device in it alone comes and goes.

    Its own plug or cable inside is likelier than its electronics, and costs nothing to seat again (common practice, no
    source). A device with a link of its own in the profile has a step for that already.
    """
    at_times = {finding.device for finding in findings.findings if finding.symptom is Symptom.INTERMITTENT}
    inside: dict[str, list[ExpectedDevice]] = {}
    for device in profile.devices:
        if device.id in at_times:
            inside.setdefault(device.within, []).append(device)
    alone = {within: its[0] for within, its in inside.items() if len(its) == 1}
    names = {part.id: part.name for part in profile.parts}
    return {
        within: f"reseat the plug of {device.name} itself inside {names[within]}, and watch again"
        for within, device in alone.items()
        if within in names and not own_link(device.id, profile)
    }


def watch_alone(beliefs: Beliefs, device: str) -> Candidate:
    """A device that hangs on no link of the profile, watched while the unit is left as it is."""
    its = next(one for one in beliefs.layout.profile.devices if one.id == device)
    return Candidate(
        action=Action.LOOK,
        of=device,
        words=f"{its.name}: does it stay? Watch the unit for a minute or longer (usbwatch watch)",
        minutes=_WATCH_MINUTES,
        yes=observed(beliefs.layout, its, Symptom.WORKING, watched=True),
    )
