"""What a bare list of enumerated devices can say (``usbwatch.capture.portable``), and what it cannot.

It holds no ports, no drivers and nothing of what failed to enumerate: "not in
the list" is called missing only where everything on the way to the place is in
the list and carries something, and the finding says what else it can mean.
"""

from __future__ import annotations

from dataclasses import replace

from usbwatch.capture.portable.words import SOURCE
from usbwatch.compare.blind_spots import BUSES_OF_FUNCTION
from usbwatch.compare.scene import Scene, bus_of, root_of, unseen_because
from usbwatch.compare.unknown_controllers import SUPERSPEED_NUMBERING
from usbwatch.compare.verdicts import unseen
from usbwatch.model import (
    Capture,
    ExpectedDevice,
    Finding,
    Node,
    Rung,
    Symptom,
    Verdict,
    outward,
    parent_port,
    port_chain,
)

__all__ = ["NOTICE", "as_far_as_listed", "charge_alone", "is_bare_list", "not_in_list", "with_limits"]

NOTICE = "This capture is the system's own list of USB devices: it shows what enumerated, but no ports and no drivers."

_SAME_LOOK = "a device that fails to enumerate looks the same"
_FROM_LINUX = "start Linux on this unit and capture there"
_DO_NOT = "leave out --through libusb"
_OF_FIRMWARE = frozenset({"battery", "fan", "lid", "mains-adapter", "power-button"})
"""Functions that show through firmware's own list alone."""
_SWITCHED_OFF = "it may be switched off in firmware set-up or by this system, which its list does not tell"
_NO_MORE = "this system does not show which driver holds it, nor what came of it"


def is_bare_list(capture: Capture) -> bool:
    """Whether a capture was made from such a list."""
    return capture.system.source == SOURCE


def as_far_as_listed(node: Node, scene: Scene) -> bool:
    """Whether a USB device got as far as a list can show: it is in it, and has a configuration if that is told."""
    return is_bare_list(scene.capture) and node.bus == "usb" and node.facts.get("bConfigurationValue") != 0


def with_limits(finding: Finding, device: ExpectedDevice, scene: Scene) -> Finding:
    """The same finding, saying what was not seen of a device that is in the list."""
    if not is_bare_list(scene.capture) or finding.rung.reaches(device.reaches):
        return finding
    return replace(finding, reasons=(*finding.reasons, _NO_MORE))


def charge_alone(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """A battery of which the system tells its charge: above 0 % its gauge answers; more is not known."""
    if not is_bare_list(scene.capture) or "battery" not in node.functions:
        return None
    charge = node.facts.get("capacity")
    if not charge:
        told = "gives no charge" if charge is None else "gives its charge as 0%, as it may for a gauge that is silent"
        return unseen(
            device,
            node,
            f"this system says that there is a battery, and {told}",
            _DO_NOT if _on_linux(scene) else _FROM_LINUX,
        )
    reason = f"this system gives its charge as {charge}%; it tells no wear, no cycles and no voltage"
    return Finding(
        device=device.id,
        verdict=Verdict.PRESENT,
        rung=node.rung,
        symptom=Symptom.WORKING,
        reasons=(reason,),
        node=node,
    )


def not_in_list(device: ExpectedDevice, scene: Scene, absent: dict[str, str]) -> Finding:
    """Why nothing in the list stands for ``device``; ``absent`` is that of ``usbwatch.compare.absence``."""
    outcomes = [_at(device, place, scene, absent) for place in device.locations] or [_anywhere(device, scene)]
    found = next((one for one in outcomes if one.verdict is Verdict.UNSEEN), outcomes[0])
    return replace(found, would_tell=_DO_NOT) if found.would_tell == _FROM_LINUX and _on_linux(scene) else found


def _on_linux(scene: Scene) -> bool:
    """Whether the looking system has more to show than its list: then nothing else has to be started."""
    return scene.capture.system.platform == "linux"


def _anywhere(device: ExpectedDevice, scene: Scene) -> Finding:
    buses = BUSES_OF_FUNCTION.get(device.function, ("usb",))
    if "usb" not in buses or device.function in _OF_FIRMWARE:
        where = "with what firmware declares" if device.function in _OF_FIRMWARE else f"on {' or '.join(buses)}"
        return _unseen(device, f"it shows {where}, and libusb lists USB devices alone", _FROM_LINUX)
    if not scene.seen("usb"):
        because, remedy = unseen_because(scene, "usb")
        return _unseen(device, because, remedy if len(buses) == 1 else _FROM_LINUX)
    reason = f"this system lists USB devices alone, and none of those inside the unit is known as {device.function}"
    return _unseen(device, reason, _FROM_LINUX)


def _at(device: ExpectedDevice, place: str, scene: Scene, absent: dict[str, str]) -> Finding:
    bus = bus_of(place)
    if bus != "usb" or not scene.seen(bus):
        return _unseen(device, *unseen_because(scene, bus))
    if root_of(place) not in scene.at:
        return _unseen(device, _why_no_root(place, scene), _FROM_LINUX)
    carrier = next((absent[hub] for hub in outward(place) if root_of(hub) and hub in absent), "")
    if carrier:
        finding = _unseen(device, f"it hangs on {carrier}, which is not in the list", f"bring {carrier} back first")
        return replace(finding, charged_to=carrier)
    return _behind_hubs(device, place, scene)


def _why_no_root(place: str, scene: Scene) -> str:
    numbering = port_chain(place).partition("/")[0]
    if numbering not in scene.at:
        return f"this system's list holds no root hub for {place}"
    if numbering == SUPERSPEED_NUMBERING:
        return f"this system numbers SuperSpeed ports otherwise, so {place} cannot be looked up in its list"
    return f"this system does not tell its USB controllers apart, so {place} cannot be looked up in its list"


def _behind_hubs(device: ExpectedDevice, place: str, scene: Scene) -> Finding:
    """The finding once the root hub is known to be there: every hub on the way must be listed and carry something."""
    hub = parent_port(place)
    while hub:
        if hub not in scene.at:
            return _unseen(device, f"the hub at {hub} is not in this system's list; {_SAME_LOOK}", _FROM_LINUX)
        if not scene.at[hub][0].rung.reaches(Rung.WORKING):
            reason = f"nothing behind {hub} is in this system's list, so nothing shows that its ports were looked at"
            return _unseen(device, reason, _FROM_LINUX)
        hub = parent_port(hub)
    return Finding(
        device=device.id,
        verdict=Verdict.MISSING,
        rung=Rung.ABSENT,
        symptom=Symptom.ABSENT,
        reasons=(f"this system's list holds nothing at {place}; {_SAME_LOOK}",),
        software=_SWITCHED_OFF,
    )


def _unseen(device: ExpectedDevice, reason: str, would_tell: str) -> Finding:
    return Finding(
        device=device.id,
        verdict=Verdict.UNSEEN,
        rung=Rung.ABSENT,
        symptom=Symptom.UNSEEN,
        reasons=(reason,),
        would_tell=would_tell,
    )
