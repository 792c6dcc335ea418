"""Devices that stopped short of work: no driver asked them, none holds them, or something keeps them quiet.

The rules for a node that is there and below the rung that the profile asks.
What of it software can explain is said in ``usbwatch.compare.software``.
"""

from __future__ import annotations

from dataclasses import replace

from usbwatch.compare.clients import Asked, asked, is_client, loaded_for, made_for
from usbwatch.compare.scene import Scene
from usbwatch.compare.verdicts import called, impaired, missing, unseen
from usbwatch.model import ExpectedDevice, Finding, Kind, Node, Rung, Symptom, hangs_on

__all__ = ["blocked_radio", "empty_ps2_port", "short", "silent_client"]


def empty_ps2_port(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """A PS/2 port is there because its controller is (drivers/input/serio/i8042.c); only a driver asks behind it."""
    if node.bus != "serio" or node.rung is not Rung.ABSENT:
        return None
    coverage = scene.coverage.get("serio")
    if coverage is not None and "psmouse" not in coverage.drivers:
        return unseen(device, node, "the driver psmouse is not loaded, so nobody asked", "load psmouse, capture again")
    return missing(device, node, "the PS/2 controller has its port, and nothing behind it answered")


def silent_client(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """An I2C or SPI client is firmware's declaration until a driver holds it."""
    if not is_client(node) or node.rung.reaches(Rung.ADDRESSED):
        return None
    state = asked(node, scene)
    if state is Asked.HELD:
        return None
    declared = f"firmware declares it ({node.location})"
    if state is Asked.FAILED:
        return missing(device, node, f"{declared}, and its driver asked it and failed (kernel's log)")
    if state is Asked.SILENT:
        reason = f"{declared} and its driver is loaded, but nothing answered at its address"
        return missing(device, node, reason)
    reason, would_tell = _NOT_ASKED[state]
    drivers = made_for(node, scene)
    if state is Asked.LEFT_ALONE:
        told = unseen(device, node, f"{declared}{reason}", would_tell)
        return replace(told, software=f"its driver {loaded_for(node, scene)[0]} is loaded and does not hold it")
    return unseen(device, node, f"{declared}{reason}", would_tell.format(drivers[0]) if drivers else _OTHER_KERNEL)


_OTHER_KERNEL = "capture with a kernel that has its driver"
_NOT_ASKED = {
    Asked.WAITING: (
        "; it still waits for another device that supplies it",
        "load that device's driver and capture again",
    ),
    Asked.UNASKED: (", but no driver for it is loaded, so nobody asked it", "load {} and capture again"),
    Asked.LEFT_ALONE: (
        "; a driver for it is loaded and does not hold it, which is no word of the device",
        "look in the kernel's log for the reason, and capture with another kernel",
    ),
}
"""Why a client may be there all the same, and what would tell."""


def blocked_radio(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """A radio that a switch keeps quiet (Documentation/ABI/stable/sysfs-class-rfkill): a cause in software or a key."""
    if not {"bluetooth", "wlan", "wwan"} & set(node.functions):
        return None
    switches = [one for one in scene.capture.nodes if one.bus == "rfkill" and hangs_on(one.location, node.location)]
    for kind, word in (("hard", "by a switch or in firmware"), ("soft", "in software")):
        if any(switch.facts.get(kind) == 1 for switch in switches):
            return impaired(device, node, Symptom.UNDRIVEN, f"the radio is blocked {word}")
    return None


_PROBE_FAILED = frozenset({"HID probe failed", "I2C HID failed"})
"""Troubles of ``usbwatch.capture.log`` in which a driver was there and the device failed it."""


def short(device: ExpectedDevice, node: Node, scene: Scene) -> Finding:
    """A device that stopped below the rung that the profile asks."""
    if node.rung is Rung.ABSENT:
        return missing(device, node, f"{node.location} is there, and nothing on it")
    if node.facts.get("authorized") == 0:
        return impaired(
            device, node, Symptom.UNDRIVEN, "this system does not authorise it: policy, not a hardware fault"
        )
    probe = next((told for told in scene.troubles.get(node.location, ()) if told.trouble in _PROBE_FAILED), None)
    if probe is not None:
        reason = f"a driver asked it and failed (kernel's log, error {probe.errno}): it does not answer as it should"
        return impaired(device, node, Symptom.FAILED, reason, *probe.lines[-1:])
    if node.rung in (Rung.CONFIGURED, Rung.BOUND) or (node.rung is Rung.IDENTIFIED and node.bus != "usb"):
        undriven = _undriven(node, scene)
        if undriven:
            return impaired(device, node, Symptom.UNDRIVEN, undriven)
    defect = node.facts.get("first_descriptor_defect")
    extra = (f"its descriptors are damaged ({defect})",) if defect else ()
    return impaired(device, node, Symptom.FAILED, f"stopped at {node.rung.value}: {_STOPPED[node.rung]}", *extra)


_STOPPED = {
    Rung.ATTACHED: "something is there and does not answer",
    Rung.ADDRESSED: "it answered, and its identity could not be read",
    Rung.IDENTIFIED: "it was identified, and took no configuration",
    Rung.CONFIGURED: "it took a configuration, and no driver holds it",
    Rung.BOUND: "a driver holds it, and nothing came of it",
    Rung.ABSENT: "nothing is there",
    Rung.WORKING: "it works",
}


def _undriven(node: Node, scene: Scene) -> str:
    """What in and under a node has no driver, as a sentence, or ""."""
    if node.rung is not Rung.BOUND and not node.driver:
        return f"it answered as {called(node)}, but no driver holds it"
    below = [other for other in scene.capture.nodes if hangs_on(other.location, node.location)]
    idle = [other for other in below if other.kind in (Kind.INTERFACE, Kind.FUNCTION) and other.bus in ("usb", "hid")]
    loose = [other for other in idle if not other.driver and other.functions]
    if loose and node.rung.reaches(Rung.CONFIGURED):
        return f"it answered as {called(node)}, but no driver holds its {', '.join(loose[0].functions)} part"
    return ""
