"""What a port tells of over-current: the switch that feeds it cut it off.

``over_current_count`` counts the changes that the hub reported for the port
(Documentation/ABI/testing/sysfs-bus-usb; ``hub_port_event`` in
drivers/usb/core/hub.c). That it means a shorted or overloaded branch is common
practice, no source; ports that share one switch count together.
"""

from __future__ import annotations

from dataclasses import replace

from usbwatch.compare.scene import Scene
from usbwatch.model import Finding

__all__ = ["over_current_reason", "with_over_current"]

_BRANCH = "a shorted or overloaded branch (ports can share one)"
_OVER_CURRENT = "over-current"
"""A trouble of the kernel's log (``usbwatch.capture.log.troubles``)."""


def over_current_reason(place: str, scene: Scene) -> str:
    """What port and log tell of over-current at a place, as one sentence, or "". The port's count says it best."""
    port = scene.ports.get(place)
    count = port.facts.get("over_current_count") if port is not None else 0
    if isinstance(count, int) and count > 0:
        changes = "1 over-current change" if count == 1 else f"{count} over-current changes"
        return f"its port has counted {changes}: {_BRANCH}"
    told = next((one for one in scene.troubles.get(place, ()) if one.trouble == _OVER_CURRENT), None)
    if told is None:
        return ""
    return f"its port reported over-current (kernel's log, lines: {told.count}): {_BRANCH}"


def with_over_current(finding: Finding, scene: Scene) -> Finding:
    """The same finding, with what the port of its node tells of over-current."""
    reason = over_current_reason(finding.node.location, scene) if finding.node is not None else ""
    return replace(finding, reasons=(*finding.reasons, reason)) if reason else finding
