"""PCI Express links that run below what a healthy one does, or below what both of their ends can do.

A link trains to the most that both ends and the lanes between them can do
(``pcie_bandwidth_available`` in drivers/pci/pci.c compares the same figures).
How many of its lanes a board has wired the kernel does not show: a link below
what both ends can do may be like that on every unit of the model, so it is a
fault only against the figures that the profile gives.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from usbwatch.compare.scene import Scene
from usbwatch.compare.verdicts import impaired
from usbwatch.model import ExpectedDevice, Finding, Node, Symptom, outward

__all__ = ["degraded_link", "with_narrow_link"]

_ON_PCI = ("pci", "nvme", "block")
"""Buses of nodes that work no faster than their PCI function's link."""
_BRIDGE = "0604"
"""Class of a PCI-to-PCI bridge (pci.ids)."""
_SPEED = re.compile(r"([0-9]{1,3}(?:\.[0-9])?) GT/s")
_WIDEST = 32
"""Lanes at most; the kernel shows 255 where a function has no link (drivers/pci/pci-sysfs.c)."""


def degraded_link(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """A PCI Express link below the width or the speed that the profile gives a healthy one."""
    low = [part for part in _link(device, node, scene) if 0 < part.runs < part.healthy]
    if not low:
        return None
    now, healthy = (" and ".join(words) for words in zip(*((one.now, one.at(one.healthy)) for one in low), strict=True))
    reason = f"its PCI Express link runs at {now}; a healthy one runs at {healthy}"
    return impaired(device, node, Symptom.DEGRADED, reason)


def with_narrow_link(finding: Finding, device: ExpectedDevice, scene: Scene) -> Finding:
    """The same finding, with what of its link is below what both ends can do where the profile gives no figure."""
    parts = _link(device, finding.node, scene) if finding.node is not None else ()
    low = [part for part in parts if not part.healthy and 0 < part.runs < part.able]
    if not low:
        return finding
    told = " and ".join(f"{part.now} of {part.at(part.able)}" for part in low)
    reason = f"its link runs at {told}: both ends can do more, and the profile does not say what a healthy one does"
    return replace(finding, reasons=(*finding.reasons, reason))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """One of the two figures of a link: 0 where it is not known."""

    form: str
    runs: float
    able: float
    """What both ends can do."""
    healthy: float
    """What the profile gives a healthy one."""

    def at(self, figure: float) -> str:
        return self.form.format(f"{figure:g}")

    @property
    def now(self) -> str:
        return self.at(self.runs)


def _link(device: ExpectedDevice, node: Node, scene: Scene) -> tuple[_Part, ...]:
    """The width and the speed of a node's link; what both ends can do is known only where both ends are.

    Graphics lowers its speed to save power (common practice, no source), so of
    it only the width counts; a function that is asleep has no link facts in a
    capture.
    """
    function = _function(node, scene)
    if function is None:
        return ()
    bridge = _bridge(function, scene)
    ends = (function,) if bridge is None else (function, bridge)
    widths, speeds = ([figure(end, "max") for end in ends] for figure in (_lanes, _gts))
    width = _Part(
        form="x{}",
        runs=_lanes(function, "current"),
        able=min(widths) if bridge is not None else 0,
        healthy=device.lanes or 0,
    )
    if "graphics" in function.functions:
        return (width,)
    speed = _Part(
        form="{} GT/s",
        runs=_gts(function, "current"),
        able=min(speeds) if bridge is not None else 0,
        healthy=device.link_gts or 0,
    )
    return width, speed


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


def _gts(node: Node, which: str) -> float:
    """A link speed in GT/s, 0 where it is not known."""
    shape = _SPEED.match(str(node.facts.get(f"{which}_link_speed", "")))
    return float(shape.group(1)) if shape else 0.0


def _lanes(node: Node, which: str) -> int:
    """A link width in lanes, 0 where it is not known."""
    text = str(node.facts.get(f"{which}_link_width", ""))
    lanes = int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0  # noqa: PLR2004 - 255 at most
    return lanes if lanes <= _WIDEST else 0
