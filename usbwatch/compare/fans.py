"""What can be said of a fan: only one that turns, or that its chip calls faulty, proves anything.

A fan that stands still may not be needed, and firmware's declaration of one
makes the kernel's device whether or not a fan is plugged in
(drivers/acpi/fan_core.c).
"""

from __future__ import annotations

import re

from usbwatch.compare.scene import Scene
from usbwatch.compare.verdicts import impaired, unseen
from usbwatch.model import ExpectedDevice, Finding, Node, Rung, Symptom, Verdict, hangs_on

__all__ = ["fan_finding"]

_SPEED = re.compile(r"fan\d+_input\Z")
_FAULT = re.compile(r"fan\d+_fault\Z")
"""Documentation/ABI/testing/sysfs-class-hwmon: revolutions per minute; 1 when the chip finds a fan faulty."""


def fan_finding(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """The finding of a fan that does not turn, or that is faulty; None for one that turns and for anything else."""
    if device.function != "fan" or "fan" not in node.functions or node.rung is Rung.ABSENT:
        return None
    readings = _readings(node, scene)
    if any(_FAULT.match(name) and value for name, value in readings):
        return impaired(device, node, Symptom.FAILED, "its monitoring chip reports a fault of the fan")
    speeds = [value for name, value in readings if _SPEED.match(name)]
    if any(speeds):
        return None
    reason = "it stood still: it may not be needed now" if speeds else "nothing measures its speed"
    if node.rung.reaches(device.reaches):
        return Finding(
            device=device.id,
            verdict=Verdict.PRESENT,
            rung=node.rung,
            symptom=Symptom.UNSEEN,
            reasons=(f"the kernel shows it ({node.location}); {reason}",),
            node=node,
            by_hand_alone=True,
        )
    return unseen(device, node, reason, "put the unit under load, listen to the fan, and capture again")


def _readings(node: Node, scene: Scene) -> list[tuple[str, int]]:
    """Readings of the node and of what hangs on it, by name."""
    near = [node, *(other for other in scene.capture.nodes if hangs_on(other.location, node.location))]
    facts = [fact for other in near if "fan" in other.functions for fact in other.facts.items()]
    return [(name, value) for name, value in facts if isinstance(value, int)]
