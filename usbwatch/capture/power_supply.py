"""Batteries and mains adapters as the power-supply class shows them.

Units and meanings: Documentation/ABI/testing/sysfs-class-power. Capacities of
0 or 0xFFFFFFFF do not read as such through the ACPI battery driver: the files
fail or do not exist (drivers/acpi/battery.c).
"""

from __future__ import annotations

from typing import Dict, Iterator, Optional

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight, named
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "gauge_talks", "is_reading", "nodes"]

FOLDER = "sys/class/power_supply"

_TEXTS = ("type", "scope", "status", "health", "technology", "capacity_level", "charge_behaviour")
_NAMES = ("manufacturer", "model_name", "serial_number")
_NUMBERS = (
    "present",
    "online",
    "capacity",
    "cycle_count",
    "voltage_now",
    "voltage_min_design",
    "current_now",
    "power_now",
    "charge_full_design",
    "charge_full",
    "charge_now",
    "energy_full_design",
    "energy_full",
    "energy_now",
    "charge_control_start_threshold",
    "charge_control_end_threshold",
)
_FUNCTIONS = {"Battery": "battery", "Mains": "mains-adapter"}
_ALL_ONES = frozenset({0xFFFF, 0xFFFFFFFF, 0xFFFF * 1000, 0xFFFFFFFF * 1000})
"""A bus that nobody drives reads as all ones; the ACPI driver scales milli to micro (drivers/acpi/battery.c)."""


def is_reading(value: Optional[Fact]) -> bool:
    """Whether a capacity or voltage can have come from a gauge: above 0 and not all ones."""
    return isinstance(value, int) and value > 0 and value not in _ALL_ONES


def gauge_talks(facts: Dict[str, Fact]) -> bool:
    """Whether a battery's readings can only come from a gauge that answers.

    A pack that is there has a voltage and a capacity. Firmware must give
    neither 0 nor all ones for design and full capacity (public ACPI battery
    guidance for Windows laptops), so nothing but zeros, all ones or missing
    values is a gauge that does not talk, whatever the cycle count says.
    """

    def plausible(*names: str) -> bool:
        return any(is_reading(facts.get(name)) for name in names)

    return plausible("voltage_now") and plausible("charge_full", "energy_full", "charge_now", "energy_now", "capacity")


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every power supply that belongs to the machine; batteries of peripherals keep their ``scope``."""
    for name, folder in sight.devices(FOLDER):
        facts: Dict[str, Fact] = {**sight.facts(folder, *_TEXTS, *_NAMES), **sight.numbers(folder, *_NUMBERS)}
        function = _FUNCTIONS.get(str(facts.get("type", "")), "")
        silent = function == "battery" and not gauge_talks(facts)
        yield Node(
            bus="power_supply",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.ATTACHED if silent else Rung.WORKING,
            identity=str(facts.get("model_name", "")),
            # Firmware's names stay; a peripheral's holds a running number.
            name=named(name) if places.of(folder).startswith("acpi/") else "",
            functions=(function,) if function and facts.get("scope") != "Device" else (),
            facts=facts,
        )
