"""Devices that work, and run slower than they should: USB speed, PCI Express link.

A USB device that cannot hold its SuperSpeed lines connects on the USB 2 lines
of the same connector (USB 3.2 section 10, from memory): worn contacts or a
cable with a broken pair (common practice, no source). A PCI Express link
trains to the most that both ends and the lanes between them can do
(``pcie_bandwidth_available`` in drivers/pci/pci.c compares the same figures).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from usbwatch.capture.usb_described import SUPERSPEED_KBPS
from usbwatch.compare.scene import Scene
from usbwatch.compare.twins import twin, twins_of
from usbwatch.compare.verdicts import impaired
from usbwatch.model import ExpectedDevice, Finding, Node, Rung, Symptom, outward

__all__ = ["at_usb2_twin", "degraded_link", "fell_back", "slow"]

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
    reason = f"fell back to {_mbps(speed)}: it can do {_mbps(able)}, and its connector has SuperSpeed"
    return impaired(device, node, Symptom.DEGRADED, reason)


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


_ON_PCI = ("pci", "nvme", "block")
"""Buses of nodes that work no faster than their PCI function's link."""
_BRIDGE = "0604"
"""Class of a PCI-to-PCI bridge (pci.ids)."""
_SPEED = re.compile(r"([0-9]{1,3}(?:\.[0-9])?) GT/s")
_WIDEST = 32
"""Lanes at most; the kernel shows 255 where a function has no link (drivers/pci/pci-sysfs.c)."""


def degraded_link(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """A PCI Express link below what both of its ends can do.

    A link that is known at one end only says nothing. Graphics lowers its
    speed to save power (common practice, no source), so of it only the width
    counts; a function that is asleep has no link facts in a capture.
    """
    function = _function(node, scene)
    bridge = _bridge(function, scene) if function is not None else None
    if function is None or bridge is None:
        return None
    low = [
        f"{now} instead of {able}"
        for now, able in _pairs(function, bridge, speed_counts="graphics" not in function.functions)
    ]
    if not low:
        return None
    reason = f"its PCI Express link runs at {' and '.join(low)}, which it and the port above it can do"
    return impaired(device, node, Symptom.DEGRADED, reason)


def _function(node: Node, scene: Scene) -> Node | None:
    """The PCI function that a node is, or is made of."""
    if node.bus not in _ON_PCI or "/usb" in node.location:
        return None
    places = (node.location, *outward(node.location))
    return next((one for place in places for one in scene.at.get(place, ()) if one.bus == "pci"), None)


def _bridge(function: Node, scene: Scene) -> Node | None:
    """The bridge whose port the function's link ends at: the nearest PCI function toward the host."""
    above = (one for place in outward(function.location) for one in scene.at.get(place, ()) if one.bus == "pci")
    nearest = next(above, None)
    is_bridge = nearest is not None and str(nearest.facts.get("class", "")).startswith(_BRIDGE)
    return nearest if is_bridge else None


def _pairs(function: Node, bridge: Node, *, speed_counts: bool) -> Iterator[tuple[str, str]]:
    """What the link does and what both ends can, for each of the two that is too low."""
    speeds = [_gts(function, "current"), _gts(function, "max"), _gts(bridge, "max")]
    if speed_counts and 0 < speeds[0] < min(speeds[1:]):
        yield f"{speeds[0]:g} GT/s", f"{min(speeds[1:]):g}"
    widths = [_lanes(function, "current"), _lanes(function, "max"), _lanes(bridge, "max")]
    if 0 < widths[0] < min(widths[1:]):
        lanes = "lane" if widths[0] == 1 else "lanes"
        yield f"{widths[0]} {lanes}", f"{min(widths[1:])}"


def _gts(node: Node, which: str) -> float:
    """A link speed in GT/s, 0 where it is not known."""
    shape = _SPEED.match(str(node.facts.get(f"{which}_link_speed", "")))
    return float(shape.group(1)) if shape else 0.0


def _lanes(node: Node, which: str) -> int:
    """A link width in lanes, 0 where it is not known."""
    text = str(node.facts.get(f"{which}_link_width", ""))
    lanes = int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0  # noqa: PLR2004 - 255 at most
    return lanes if lanes <= _WIDEST else 0
