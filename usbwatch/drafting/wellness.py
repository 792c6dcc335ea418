"""Whether a device, by itself, shows what no good unit shows: the one test of drafting and of learning."""

from __future__ import annotations

from usbwatch.compare.battery import battery_finding
from usbwatch.compare.scene import Scene
from usbwatch.model import ExpectedDevice, Node, Rung, Symptom

__all__ = ["mute_gauge", "stopped"]

_WITHOUT_DRIVER = frozenset({"", "fingerprint-reader", "lid", "power-button", "sensor", "smart-card-reader"})
"""Functions whose part does its work without a kernel driver, or shows none of it (common practice, no source)."""


def stopped(bus: str, function: str, rung: Rung) -> bool:
    """Whether a device got less far than one of its kind does on a system that has a driver for it."""
    mute_by_nature = function in _WITHOUT_DRIVER or bus == "acpi"
    return not rung.reaches(Rung.WORKING) and not mute_by_nature


_ANY_BATTERY = ExpectedDevice(id="battery", name="Battery", function="battery", within="")


def mute_gauge(node: Node, seen: Scene) -> bool:
    """Whether a node is a battery whose gauge does not talk (``usbwatch.compare.battery``)."""
    finding = battery_finding(_ANY_BATTERY, node, seen)
    return finding is not None and finding.symptom is Symptom.MUTE
