"""The battery's charge and the mains adapter, as psutil has them from the system.

psutil's documentation: ``sensors_battery`` gives percent, seconds left and
whether power is plugged in; None when there is no battery. It tells no health,
no cycles and no voltage, and of several batteries the first alone (on Linux
that may be a mouse's).
"""

from __future__ import annotations

from typing import Any, Callable, Dict, List, Optional, Tuple

from usbwatch.capture.portable.library import EXTRA
from usbwatch.errors import NoLibrary
from usbwatch.model import Coverage, CoverageState, Fact, Kind, Node, Rung

__all__ = ["BATTERY", "CHARGE_ALONE", "MAINS", "BatterySource", "psutil_battery", "supply"]

BATTERY = "platform/power_supply/battery"
"""Location of the battery that the system speaks of: firmware's name for it is not told."""

MAINS = "platform/power_supply/mains"

CHARGE_ALONE = "charge only: no health, no cycles, no voltage"

_FULL_PERCENT = 100
"""Windows: 255 stands for "not known" (``SYSTEM_POWER_STATUS``, from memory), and psutil hands it on."""

_BUS = "power_supply"

BatterySource = Callable[[], Any]


def psutil_battery() -> BatterySource:
    """The reader that psutil has. Raises ``NoLibrary`` when psutil is not installed."""
    try:
        import psutil
    except ImportError:
        raise NoLibrary("psutil", EXTRA) from None
    return getattr(psutil, "sensors_battery", lambda: None)


def supply(read: BatterySource) -> Tuple[List[Node], Coverage]:
    """Battery and adapter as far as the system tells, and what can be said of the looking."""
    try:
        battery = read()
    except Exception as error:  # noqa: BLE001 - whatever a system's own call runs into, the capture goes on
        why = f"the system's battery state could not be read ({type(error).__name__})"
        return [], Coverage(bus=_BUS, state=CoverageState.FAILED, why=why)
    if battery is None:
        return [], Coverage(bus=_BUS, state=CoverageState.EMPTY, why="this system says that there is no battery")
    nodes = [_battery(_percent(battery.percent))]
    if battery.power_plugged:
        nodes.append(_node(MAINS, "mains-adapter", Rung.WORKING, {"online": 1, "type": "Mains"}))
    return nodes, Coverage(bus=_BUS, state=CoverageState.OK, nodes=len(nodes), why=CHARGE_ALONE)


def _percent(value: object) -> Optional[int]:
    """Whole percent, rounded down as Linux does (drivers/acpi/battery.c); None where it is not known."""
    if not isinstance(value, (int, float)) or not 0 <= value <= _FULL_PERCENT:
        return None
    return int(value)


def _battery(percent: Optional[int]) -> Node:
    """A charge above nothing comes from a gauge that answers; 0 is also what a silent one reads as."""
    facts: Dict[str, Fact] = {"type": "Battery"}
    if percent is not None:
        facts["capacity"] = percent
    return _node(BATTERY, "battery", Rung.BOUND if percent else Rung.ATTACHED, facts)


def _node(location: str, function: str, rung: Rung, facts: Dict[str, Fact]) -> Node:
    return Node(bus=_BUS, location=location, kind=Kind.DEVICE, rung=rung, functions=(function,), facts=facts)
