"""USB devices that work, and run slower than they should.

A USB device that cannot hold its SuperSpeed lines connects on the USB 2 lines
of the same connector (USB 3.2 section 10, from memory): worn contacts or a
cable with a broken pair (common practice, no source).
"""

from __future__ import annotations

from usbwatch.capture.usb_speeds import SUPERSPEED_KBPS
from usbwatch.compare.scene import Scene
from usbwatch.compare.twins import twin, twins_of
from usbwatch.compare.verdicts import impaired
from usbwatch.model import ExpectedDevice, Finding, Node, Rung, Symptom

__all__ = ["at_usb2_twin", "fell_back", "slow"]

_TO_IDENTIFY = Rung.IDENTIFIED


def at_usb2_twin(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """A device that is expected at a SuperSpeed port and shows on the USB 2 port of the same connector."""
    expected = twins_of(device, scene.ports).get(node.location) if "/usb2/" in node.location else None
    if expected is None or not node.rung.reaches(_TO_IDENTIFY):
        return None
    speed = _kbps(node, "speed_kbps")
    at = f" ({_mbps(speed)})" if speed else ""
    reason = f"fell back to USB 2{at}: expected at {expected}, it shows at {node.location}, the same connector"
    return impaired(device, node, Symptom.DEGRADED, reason)


def fell_back(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """A device that says it can do SuperSpeed and does not, at a connector whose SuperSpeed port is empty."""
    able, speed = _kbps(node, "can_speed_kbps"), _kbps(node, "speed_kbps")
    if not speed or able < SUPERSPEED_KBPS or speed >= SUPERSPEED_KBPS or "/usb2/" not in node.location:
        return None
    fast = scene.ports.get(twin(node.location, scene.ports))
    wired = fast is not None and fast.facts.get("connect_type") != "not used"
    if fast is None or not wired or fast.rung.reaches(_TO_IDENTIFY) or not node.rung.reaches(_TO_IDENTIFY):
        return None
    if _is_as_fast_as_expected(device, node, speed, fast.location):
        return None
    reason = f"fell back to {_mbps(speed)}: it can do {_mbps(able)}, and its connector has SuperSpeed"
    return impaired(device, node, Symptom.DEGRADED, reason)


def _is_as_fast_as_expected(device: ExpectedDevice, node: Node, speed: int, fast: str) -> bool:
    """Whether the profile has a healthy one no faster, or at this port and not at the SuperSpeed one beside it."""
    if device.speed_mbps is not None:
        return speed >= device.speed_mbps * 1000
    return node.location in device.locations and fast not in device.locations


def slow(device: ExpectedDevice, node: Node, _scene: Scene) -> Finding | None:
    """A device below the speed that the profile gives a healthy one."""
    speed = node.facts.get("speed_kbps")
    if device.speed_mbps is None or not isinstance(speed, int) or speed >= device.speed_mbps * 1000:
        return None
    if not node.rung.reaches(_TO_IDENTIFY):
        return None
    reason = f"runs at {_mbps(speed)}; a healthy one runs at {device.speed_mbps} Mbit/s"
    return impaired(device, node, Symptom.DEGRADED, reason)


def _kbps(node: Node, name: str) -> int:
    value = node.facts.get(name)
    return value if isinstance(value, int) else 0


def _mbps(kbps: int) -> str:
    return f"{kbps // 1000} Mbit/s" if kbps % 1000 == 0 else f"{kbps / 1000} Mbit/s"
