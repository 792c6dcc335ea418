"""The finding of an expected device for which no node stands.

"Missing" needs three things: the bus was seen, everything on the way to the
place is there, and the place is empty. Whatever is lost behind a lost hub or
controller is charged to that, once; anything else is "unseen", with the
reason and with what would make it seen.
"""

from __future__ import annotations

from usbwatch.compare.bare_list import is_bare_list, not_in_list
from usbwatch.compare.blind_spots import BUSES_OF_FUNCTION, blind_spot, has_real_connectors, idle_carrier
from usbwatch.compare.over_current import over_current_reason
from usbwatch.compare.scene import Placing, Scene, bus_of, root_of, unseen_because
from usbwatch.model import Episode, ExpectedDevice, Finding, Node, Rung, Symptom, Verdict, outward, parent_port

__all__ = ["account_for"]

_ENUMERATION_FAILED = "enumeration failed"
_STILL_ENUMERATING = "still enumerating"
_LEFT = ("disconnected", "intermittent")
_CONTROLLER_DIED = "controller died"
"""Troubles of the kernel's log (``usbwatch.capture.log.troubles``)."""

_FIRMWARE_SHOWN = frozenset({"battery", "fan", "mains-adapter", "lid", "power-button"})
"""Functions that only a firmware object can show (a fan: or a chip's driver): without one nothing can be said."""


def account_for(device: ExpectedDevice, scene: Scene, absent: dict[str, str]) -> Finding:
    """Why nothing stands for ``device``.

    ``absent`` maps the locations at which another expected device was looked
    for and not found to that device's id.
    """
    if is_bare_list(scene.capture):
        return not_in_list(device, scene, absent)
    if not device.locations:
        return _anywhere(device, scene)
    outcomes = [_at(device, place, scene, absent) for place in device.locations]
    return min(outcomes, key=lambda finding: _WEIGHT[finding.verdict])


_WEIGHT = {Verdict.IMPAIRED: 0, Verdict.UNSEEN: 1, Verdict.MISSING: 2}
"""Of several places the most that can be said: a trace in one counts, and one unseen place forbids "missing"."""


def _at(device: ExpectedDevice, place: str, scene: Scene, absent: dict[str, str]) -> Finding:
    bus = bus_of(place)
    if not scene.seen(bus):
        return _unseen(device, *unseen_because(scene, bus))
    if bus == "usb":
        return _on_usb(device, place, scene, absent)
    carrier = _lost_carrier(place, absent, scene)
    if carrier:
        return _hidden(device, carrier)
    return _carrier_idle(device, place, bus, scene) or _missing(
        device, f"{_BUS_NAMES.get(bus, bus)} was read, and nothing is at {place}"
    )


def _carrier_idle(device: ExpectedDevice, place: str, bus: str, scene: Scene) -> Finding | None:
    """The finding when what carries a place is not at work, so that the place could not be seen."""
    if bus == "drm" and not has_real_connectors(scene, place.partition("/drm/")[0]):
        return _without_connectors(device)
    idle = idle_carrier(place, scene) if bus != "pci" else ""
    if idle:
        reason = f"the controller at {idle} has no driver, so what is on it was not seen"
        return _unseen(device, reason, "capture with a kernel that drives it")
    if bus == "i2c" and not _adapter(place, scene):
        return _unseen(device, f"no I2C controller at {place.rpartition('/')[0]}", "load its controller's driver")
    return None


def _without_connectors(device: ExpectedDevice) -> Finding:
    reason = "the graphics driver does not show the hardware's connectors"
    return _unseen(device, reason, "look at the screen, or capture with its own graphics driver")


_BUS_NAMES = {"pci": "PCI", "acpi": "the firmware's list", "serio": "PS/2", "drm": "the list of display connectors"}


def _adapter(place: str, scene: Scene) -> bool:
    return place.rpartition("/")[0] in scene.at


def _lost_carrier(place: str, absent: dict[str, str], scene: Scene) -> str:
    """Id of an expected device that ``place`` hangs on and that does not carry it, nearest first.

    What a hub that works hangs on does carry it, also where that was not seen itself: PCI may not have been read.
    """
    for other in outward(place):
        if other in absent:
            return absent[other]
        if any(node.bus == "usb" and node.rung.reaches(Rung.WORKING) for node in scene.at.get(other, ())):
            return ""
    return ""


def _on_usb(device: ExpectedDevice, place: str, scene: Scene, absent: dict[str, str]) -> Finding:
    root = root_of(place)
    carrier = _lost_carrier(place, absent, scene)
    if carrier:
        return _hidden(device, carrier)
    if root not in scene.at:
        return _without_root_hub(device, root, scene)
    hub = parent_port(place)
    while hub:
        if hub not in scene.at:
            return _behind_lost_hub(device, hub, scene)
        if not scene.at[hub][0].rung.reaches(Rung.WORKING):
            reason = (
                f"what is at {hub} does no work as a hub ({scene.at[hub][0].rung.value}), so its ports were not seen"
            )
            return _unseen(device, reason, "capture with a kernel that drives it, or look at it first")
        hub = parent_port(hub)
    died = _logged(root.rpartition("/")[0], scene, _CONTROLLER_DIED)
    if died is not None:
        reason = f"the USB controller at {died.location} died (kernel's log), and everything on it is gone with it"
        return _unseen(device, reason, "restart the unit and capture again; if it dies again, look at the mainboard")
    return _at_port(device, place, scene)


def _without_root_hub(device: ExpectedDevice, root: str, scene: Scene) -> Finding:
    controller = root.rpartition("/")[0]
    nodes = scene.at.get(controller, ())
    if nodes and not nodes[0].driver:
        reason = f"the USB controller at {controller} is there, but no driver holds it, so its ports were not seen"
        return _unseen(device, reason, "capture with a kernel that drives this controller")
    if nodes:
        reason = f"the USB controller at {controller} is there, but shows no ports"
        return _unseen(device, reason, "restart the unit and capture again; then look at the mainboard")
    return _unseen(
        device,
        f"there is no USB controller at {controller}, so its ports were not seen",
        "check that the profile is the right one for this unit; else look at the mainboard first",
    )


def _behind_lost_hub(device: ExpectedDevice, hub: str, scene: Scene) -> Finding:
    trouble = _trouble(hub, scene)
    reason = f"the hub at {hub} is not there" + (f" ({_told(trouble)})" if trouble else "")
    return _missing(device, reason)


def _at_port(device: ExpectedDevice, place: str, scene: Scene) -> Finding:
    port = scene.ports.get(place)
    if port is None and _ports_known(place, scene):
        reason = f"the hub has no port {place.rpartition('/')[2]}"
        return _unseen(device, reason, "check that the profile is the right one for this unit")
    trouble = _trouble(place, scene)
    extra = tuple(reason for reason in (_twin(device, scene), over_current_reason(place, scene)) if reason)
    rung = port.rung if port is not None else Rung.ABSENT
    if rung.reaches(Rung.IDENTIFIED) and trouble is None:
        reason = "the port has a device, but the device itself could not be read"
        return _unseen(device, reason, "capture again as root, or copy again")
    if trouble is not None and trouble.trouble == _STILL_ENUMERATING and not _has_failed(trouble):
        return _unseen(device, "the kernel had only just begun to enumerate it", _IN_A_MINUTE)
    if trouble is not None or rung is not Rung.ABSENT:
        reason = _told(trouble) if trouble else f"its port is in state {port.facts.get('state') if port else ''}"
        return Finding(
            device=device.id,
            verdict=Verdict.IMPAIRED,
            rung=_highest(rung, trouble),
            symptom=Symptom.FAILED,
            reasons=(f"attached, then failed: {reason}", *(trouble.lines[-1:] if trouble else ()), *extra),
            would_tell=_IN_A_MINUTE if trouble is not None and trouble.trouble == _STILL_ENUMERATING else "",
        )
    return _missing(
        device, f"port {place} is empty{_wired(port)}{_without_log(port, scene)}", *_left(place, scene), *extra
    )


def _without_log(port: Node | None, scene: Scene) -> str:
    """What an empty port cannot rule out where neither the log nor the port's own state (kernel 6.6) was seen."""
    if scene.seen("log") or (port is not None and "state" in port.facts):
        return ""
    log = scene.coverage.get("log")
    told = "is incomplete" if log is not None and log.nodes else "could not be read"
    return f"; the kernel's log {told}, so a failed enumeration is not ruled out"


def _ports_known(place: str, scene: Scene) -> bool:
    """Whether the kernel lists the ports of the hub that ``place`` hangs on (kernels before 3.9 list none)."""
    hub = parent_port(place) or root_of(place)
    return any((parent_port(other) or root_of(other)) == hub for other in scene.ports)


def _wired(port: Node | None) -> str:
    if port is not None and port.facts.get("connect_type") == "hardwired":
        return "; firmware says that something is wired to it"
    return ""


_IN_A_MINUTE = "capture again in a minute"


def _highest(rung: Rung, trouble: Episode | None) -> Rung:
    """The highest rung that port and log prove of something that attached."""
    proven = (Rung.ATTACHED, rung, trouble.rung if trouble is not None else Rung.ATTACHED)
    return max(proven, key=lambda one: one.height)


def _logged(place: str, scene: Scene, *troubles: str) -> Episode | None:
    """The first of some troubles that the log tells of a place."""
    return next((told for told in scene.troubles.get(place, ()) if told.trouble in troubles), None)


def _trouble(place: str, scene: Scene) -> Episode | None:
    """The enumeration trouble that the log tells of a place where nothing is."""
    return _logged(place, scene, _ENUMERATION_FAILED, _STILL_ENUMERATING)


def _has_failed(episode: Episode) -> bool:
    """Whether a line of failure is among those of an enumeration; without one, a healthy device may be on its way."""
    return episode.rung.reaches(Rung.ADDRESSED) or episode.errno != 0 or episode.count > 1


def _told(episode: Episode | None) -> str:
    if episode is None:
        return ""
    error = f", last error {episode.errno}" if episode.errno else ""
    if episode.trouble == _STILL_ENUMERATING:
        return f"the kernel was still trying ({episode.count} lines in its log{error})"
    return f"the kernel's log has {episode.count} lines of failed enumeration there{error}"


def _left(place: str, scene: Scene) -> tuple[str, ...]:
    """What the log tells of a device that had been at a place which is empty now."""
    episode = _logged(place, scene, *_LEFT)
    if episode is None:
        return ()
    times = "" if episode.count == 1 else f" {episode.count} times"
    return (f"something was there and left{times} (kernel's log)", *episode.lines[-1:])


def _twin(device: ExpectedDevice, scene: Scene) -> str:
    """A sentence on a helper of the same identity: it must not be taken for the device."""
    for node in scene.capture.nodes:
        if node.bus == "usb" and node.identity in device.identities and scene.placing(node) is not Placing.INSIDE:
            return f"{node.identity} at {node.location} has the same identity, but it is not inside the unit"
    return ""


def _anywhere(device: ExpectedDevice, scene: Scene) -> Finding:
    if device.function in _FIRMWARE_SHOWN:
        return _unseen(device, "firmware declares none, so nothing can be said", "establish it by hand")
    for bus in BUSES_OF_FUNCTION.get(device.function, ("usb", "pci")):
        if not scene.seen(bus):
            return _unseen(device, *unseen_because(scene, bus))
    blind = blind_spot(device, scene)
    if blind:
        return _unseen(device, blind, "capture with a kernel that drives it; else name the unit's own profile")
    if device.function == "panel" and not has_real_connectors(scene):
        return _without_connectors(device)
    return _missing(device, f"no {device.function} inside the unit on any bus that could carry one")


def _missing(device: ExpectedDevice, *reasons: str) -> Finding:
    return Finding(device=device.id, verdict=Verdict.MISSING, rung=Rung.ABSENT, symptom=Symptom.ABSENT, reasons=reasons)


def _unseen(device: ExpectedDevice, reason: str, would_tell: str) -> Finding:
    return Finding(
        device=device.id,
        verdict=Verdict.UNSEEN,
        rung=Rung.ABSENT,
        symptom=Symptom.UNSEEN,
        reasons=(reason,),
        would_tell=would_tell,
    )


def _hidden(device: ExpectedDevice, carrier: str) -> Finding:
    return Finding(
        device=device.id,
        verdict=Verdict.UNSEEN,
        rung=Rung.ABSENT,
        symptom=Symptom.UNSEEN,
        reasons=(f"it hangs on {carrier}, which does not carry it now",),
        charged_to=carrier,
        would_tell=f"bring {carrier} back and capture again",
    )
