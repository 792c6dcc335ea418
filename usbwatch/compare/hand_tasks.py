"""What a person is to be asked to do to a unit, and what must not be asked of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from usbwatch.compare.by_hand import observed
from usbwatch.compare.findings import expected_devices, findings
from usbwatch.compare.scene import Placing, Scene, scene
from usbwatch.model import Capture, Deed, ExpectedDevice, Finding, Node, Profile, Rung, Symptom, hangs_on

__all__ = ["DEEDS", "LEAST_CHARGE_PERCENT", "HandTask", "hand_tasks", "why_charger_stays"]

DEEDS: dict[str, tuple[Deed, ...]] = {
    "keyboard": (Deed.PRESS,),
    "lid": (Deed.CLOSE,),
    "mains-adapter": (Deed.PULL, Deed.PLUG),
    "mouse": (Deed.MOVE, Deed.CLICK),
    "pointing-device": (Deed.MOVE, Deed.CLICK),
    "pointing-stick": (Deed.MOVE, Deed.CLICK),
    "touchpad": (Deed.MOVE, Deed.CLICK),
    "touchscreen": (Deed.TOUCH,),
}
"""What is asked of a device with each function.

The power button is left out: what a short press does is the system's own
setting, and on many it turns the unit off.
"""

LEAST_CHARGE_PERCENT = 20
"""Below this the charger is not pulled: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandTask:
    """One thing to ask of one expected device, or the reason why it is not asked."""

    device: ExpectedDevice
    deed: Deed
    own: tuple[str, ...] = ()
    """Locations of the nodes that can speak for the device, sorted."""
    why_not: str = ""
    """One clause; "" where it can be asked."""


def hand_tasks(
    capture: Capture, profile: Profile, heard: Mapping[str, str], wanted: tuple[str, ...] = ()
) -> tuple[HandTask, ...]:
    """What to ask, in the profile's order.

    ``heard`` has, by location, every node that has a file to listen to: "", or
    why that file cannot be opened. ``wanted`` are ids or functions of expected
    devices; without any it is what only a hand can prove and none has yet, and
    where there is nothing of that kind all that a hand can move.
    """
    found = {one.device: one for one in findings(capture, profile).findings}
    able = [device for device in expected_devices(capture, profile) if device.function in DEEDS]
    if wanted:
        chosen = [device for device in able if {device.id, device.function} & set(wanted)]
    else:
        able = [device for device in able if device.id in found]
        chosen = [device for device in able if _needs_a_hand(found[device.id], device, capture)] or able
    seen = scene(capture, profile)
    return tuple(
        _task(device, deed, found.get(device.id), heard, seen)
        for device in chosen
        for deed in _deeds(device, found.get(device.id), capture)
    )


def _needs_a_hand(finding: Finding, device: ExpectedDevice, capture: Capture) -> bool:
    if not finding.by_hand_alone or finding.node is None:
        return False
    return finding.symptom is Symptom.UNSEEN and not observed(device, finding.node, capture.observations)


def _task(
    device: ExpectedDevice, deed: Deed, finding: Finding | None, heard: Mapping[str, str], seen: Scene
) -> HandTask:
    node = finding.node if finding is not None else None
    if node is None:
        what = "" if finding is None or seen.capture.system.virtual else f"it is {finding.verdict.value}: "
        return HandTask(device=device, deed=deed, why_not=f"{what}no node of it is there to listen to")
    near = _near(node, device, heard, seen)
    own = tuple(place for place, deaf in near.items() if not deaf)
    return HandTask(device=device, deed=deed, own=own, why_not=_why_not(deed, node, near, seen))


def _near(node: Node, device: ExpectedDevice, heard: Mapping[str, str], seen: Scene) -> dict[str, str]:
    """Of the nodes that can be heard in and below a device: those of its function, else those that point, else all.

    One part often has several: keys and a pointing stick on one controller.
    """
    near = {place: heard[place] for place in sorted(heard) if place == node.location or hangs_on(place, node.location)}
    does = {place: {one for other in seen.at.get(place, ()) for one in other.functions} for place in near}
    for function in _spoken_for(device.function):
        fitting = {place: deaf for place, deaf in near.items() if function in does[place]}
        if fitting:
            return fitting
    return near


def _spoken_for(function: str) -> tuple[str, ...]:
    """The functions of nodes that can speak for a part: a touchpad on PS/2 may say only that it points."""
    points = Deed.MOVE in DEEDS[function]
    return (function, "pointing-device") if points else (function,)


def _why_not(deed: Deed, node: Node, near: Mapping[str, str], seen: Scene) -> str:
    if seen.placing(node) is Placing.UNKNOWN:
        # A word that is typed on a helper keyboard would else prove the unit's own.
        return "nothing says whether its node is inside the unit: unplug your own devices"
    if "" not in near.values():
        return next(iter(near.values()), "the kernel made no node of it to listen to")
    return why_charger_stays(seen.capture) if deed in _CHARGER and _plugged(node, seen.capture) else ""


_CHARGER = frozenset({Deed.PULL, Deed.PLUG})


def _deeds(device: ExpectedDevice, finding: Finding | None, capture: Capture) -> tuple[Deed, ...]:
    """A charger that is not plugged in cannot be pulled."""
    node = finding.node if finding is not None else None
    if device.function == "mains-adapter" and node is not None and not _plugged(node, capture):
        return (Deed.PLUG,)
    return DEEDS[device.function]


def _plugged(node: Node, capture: Capture) -> bool:
    supplies = [one for one in capture.nodes if one.bus == "power_supply" and hangs_on(one.location, node.location)]
    return any(one.facts.get("online") != 0 for one in supplies)


def why_charger_stays(capture: Capture) -> str:
    """Why pulling the charger would turn the unit off, or might; "" where a battery is known to carry it."""
    packs = [one for one in capture.nodes if one.bus == "power_supply" and "battery" in one.functions]
    if not packs:
        return "no battery is there: without its charger the unit would turn off"
    talking = [one for one in packs if one.rung.reaches(Rung.WORKING) and one.facts.get("present") != 0]
    if not talking:
        return "the battery does not talk: without its charger the unit might turn off"
    charges = [charge for one in talking if isinstance(charge := one.facts.get("capacity"), int)]
    if not charges:
        return "the battery does not say how full it is: without its charger the unit might turn off"
    if max(charges) < LEAST_CHARGE_PERCENT:
        return f"the battery is at {max(charges)}%: charge it to {LEAST_CHARGE_PERCENT}% first"
    return ""
