"""USB ports that firmware calls hardwired: something is soldered or cabled to them, so something should be there.

``connect_type`` is made of firmware's _UPC and _PLD (drivers/usb/core/
usb-acpi.c). Firmware tables are copied between models, and an optional part
leaves a hardwired port empty on a healthy unit (common practice, no source):
an empty one is evidence, not proof.
"""

from __future__ import annotations

from collections.abc import Iterator

from usbwatch.compare.over_current import over_current_reason
from usbwatch.compare.scene import Placing, Scene, root_of
from usbwatch.model import Declaration, DeclaredState, Node, Rung, outward

__all__ = ["PORT_TABLE", "port_declarations"]

_HARDWIRED = "hardwired"
PORT_TABLE = "USB port table"
"""How ``said_by`` begins where a port's entry is what firmware says."""

_Judged = tuple[DeclaredState, str, str]

_FAILED = {
    "enumeration failed": (DeclaredState.NOT_FOUND, "something attached there, and did not enumerate (kernel's log)"),
    "still enumerating": (DeclaredState.NOT_SEEN, "the kernel was still enumerating it; capture again in a minute"),
}
_CONTROLLER_DIED = "controller died"
_LEFT = ("disconnected", "intermittent")
"""Troubles of the kernel's log (``usbwatch.capture.log.troubles``)."""


def port_declarations(scene: Scene) -> Iterator[Declaration]:
    """One declaration for every hardwired port inside the unit; the two speeds of one connector are one."""
    for place, port in scene.ports.items():
        inside = scene.placing(port) is not Placing.OUTSIDE
        if port.facts.get("connect_type") == _HARDWIRED and inside and not _is_second_half(port, scene):
            yield _declaration(place, port, scene)


def _is_second_half(port: Node, scene: Scene) -> bool:
    """Whether a port is the SuperSpeed half of a connector whose USB 2 half is listed."""
    peer = str(port.facts.get("peer", ""))
    return peer in scene.ports and "/usb3/" in port.location and "/usb3/" not in peer


def _declaration(place: str, port: Node, scene: Scene) -> Declaration:
    state, found, because = _judged(place, port, scene)
    half = ", in the display half" if port.facts.get("lid") == "yes" else ""
    device = _device(place, port, scene)
    return Declaration(
        what=f"part wired to USB port {place.rpartition('/')[2]}",
        state=state,
        said_by=f"{PORT_TABLE}: {_HARDWIRED}{half}",
        where=place,
        function=next((one for one in device.functions if one != "pointing-device"), "") if device is not None else "",
        found=found,
        because=because,
    )


def _device(place: str, port: Node, scene: Scene) -> Node | None:
    """The device in a port or in its other half."""
    places = (place, str(port.facts.get("peer", "")))
    return next((node for where in places for node in scene.at.get(where, ()) if node.bus == "usb"), None)


def _judged(place: str, port: Node, scene: Scene) -> _Judged:
    device = _device(place, port, scene)
    if device is not None:
        called = " ".join(filter(None, (device.name, device.identity)))
        return DeclaredState.FOUND, f"{called}, {device.rung.value}", ""
    for told in scene.troubles.get(place, ()):
        if told.trouble in _FAILED:
            state, words = _FAILED[told.trouble]
            return state, "", words
    if port.rung.reaches(Rung.IDENTIFIED):
        return DeclaredState.NOT_SEEN, "", "the port has a device that could not be read"
    if port.rung is not Rung.ABSENT:
        return DeclaredState.NOT_FOUND, "", f"something attached there, and did not enumerate (state {_state(port)})"
    return _empty(place, port, scene)


def _state(port: Node) -> str:
    return str(port.facts.get("state", ""))


def _empty(place: str, port: Node, scene: Scene) -> _Judged:
    controller = root_of(place).rpartition("/")[0]
    if any(told.trouble == _CONTROLLER_DIED for told in scene.troubles.get(controller, ())):
        return DeclaredState.NOT_SEEN, "", "its USB controller died (kernel's log)"
    if scene.unread(port) or not scene.seen("usb"):
        return DeclaredState.NOT_SEEN, "", "not all of the port could be read"
    idle = next((hub for hub in outward(place) for node in scene.at.get(hub, ()) if _does_no_work(node)), "")
    if idle:
        return DeclaredState.NOT_SEEN, "", f"the hub at {idle} does no work"
    return DeclaredState.NOT_FOUND, "", f"something should be wired here, and {_not_there(place, scene)}"


def _not_there(place: str, scene: Scene) -> str:
    """What is known of the emptiness of a port: whether something has been there, whether it drew too much."""
    left = any(told.trouble in _LEFT for told in scene.troubles.get(place, ()))
    known = "what was there has left (kernel's log)" if left else "nothing enumerated"
    drew = over_current_reason(place, scene)
    return f"{known}; {drew}" if drew else known


def _does_no_work(node: Node) -> bool:
    return node.bus == "usb" and "hub" in node.functions and not node.rung.reaches(Rung.WORKING)
