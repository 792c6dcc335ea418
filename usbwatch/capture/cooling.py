"""Fans, temperatures and backlights: what the kernel shows of a unit's cooling and of its screen's light.

Documentation/ABI/testing/sysfs-class-hwmon and sysfs-class-thermal,
ABI/stable/sysfs-class-backlight. Some of these files ask a chip or run
firmware's code when they are read, as a battery's do: ``temp`` of a zone
that firmware declares runs its ``_TMP`` method, ``fanN_input`` reads a
register or asks the embedded controller. They change nothing; the kernel
itself reads them as it goes. A chip on a device that is asleep is not asked,
for the read would wake it. Voltages, currents and a chip's own temperatures
say nothing of a part that is missing, and are not read.
"""

from __future__ import annotations

import re
from typing import Dict, Iterator, Optional

from usbwatch.capture.functions import ACPI_FUNCTIONS
from usbwatch.capture.pci import is_awake
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = [
    "BACKLIGHT_FOLDER",
    "HWMON_FOLDER",
    "THERMAL_FOLDER",
    "backlight_nodes",
    "hwmon_nodes",
    "is_temperature",
    "thermal_nodes",
]

BACKLIGHT_FOLDER = "sys/class/backlight"
HWMON_FOLDER = "sys/class/hwmon"
THERMAL_FOLDER = "sys/class/thermal"

_FAN_FILE = re.compile(r"fan\d{1,2}_(?:input|fault)\Z")
_LABEL_FILE = re.compile(r"(?:fan|temp)\d{1,2}_label\Z")
_MIRRORED = frozenset({"power_supply", "nvme", "thermal"})
"""Classes whose devices the kernel shows as a chip a second time: the chip says nothing new."""

_ZONE = re.compile(r"thermal_zone\d+\Z")
_COOLER = re.compile(r"cooling_device\d+\Z")
_COLDEST, _HOTTEST = -40_000, 150_000
"""In m°C: outside no part of a laptop works, so such a reading is none (common practice, no source)."""


def is_temperature(value: Optional[Fact]) -> bool:
    """Whether a reading in m°C can be one; a sensor that is not there often reads as absolute zero."""
    return isinstance(value, int) and _COLDEST <= value <= _HOTTEST and value != 0


def hwmon_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every monitoring chip; one that measures a fan's speed has the function ``fan``."""
    for _, folder in sight.devices(HWMON_FOLDER):
        if sight.points_to(f"{folder}/device", "subsystem") in _MIRRORED:
            continue
        names = sight.names(folder)
        fans = sight.numbers(folder, *filter(_FAN_FILE.match, names)) if is_awake(sight, f"{folder}/device") else {}
        yield Node(
            bus="hwmon",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.WORKING if turns(fans) else Rung.BOUND,
            name=sight.text(folder, "name"),
            functions=("fan",) if any(name.endswith("_input") and _FAN_FILE.match(name) for name in names) else (),
            facts={**fans, **sight.facts(folder, *filter(_LABEL_FILE.match, names))},
        )


def turns(facts: Dict[str, Fact]) -> bool:
    """Whether a fan's speed (``fanN_input``, revolutions per minute) was measured and is above 0."""
    return any(
        isinstance(value, int) and value > 0
        for name, value in facts.items()
        if _FAN_FILE.match(name) and name.endswith("_input")
    )


def thermal_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every thermal zone, and the cooling devices that are fans; the others are ways to throttle."""
    for name in sight.entries(THERMAL_FOLDER):
        folder = sight.real(f"{THERMAL_FOLDER}/{name}")
        if _ZONE.match(name):
            yield _zone(sight, places, folder)
        elif _COOLER.match(name) and _is_fan(sight, folder):
            yield Node(
                bus="thermal",
                location=_place(sight, places, folder, "cooling"),
                kind=Kind.FUNCTION,
                rung=Rung.BOUND,
                name=sight.text(folder, "type"),
                functions=("fan",),
                facts={**sight.facts(folder, "type"), **sight.numbers(folder, "max_state")},
            )


def _zone(sight: Sight, places: Places, folder: str) -> Node:
    facts: Dict[str, Fact] = {**sight.facts(folder, "type"), **sight.numbers(folder, "temp")}
    return Node(
        bus="thermal",
        location=_place(sight, places, folder, "zone"),
        kind=Kind.FUNCTION,
        rung=Rung.WORKING if is_temperature(facts.get("temp")) else Rung.BOUND,
        name=str(facts.get("type", "")),
        facts=facts,
    )


def _device(sight: Sight, folder: str) -> str:
    """What a zone or cooling device belongs to (drivers/acpi/thermal.c, fan_core.c), "" where it has no such link."""
    link = f"{folder}/device"
    real = sight.real(link)
    return "" if real == link else real


def _is_fan(sight: Sight, folder: str) -> bool:
    """Whether firmware calls the device a fan (drivers/acpi/fan.h), or the driver does."""
    if "fan" in sight.text(folder, "type").lower():
        return True
    device = _device(sight, folder)
    ids = (sight.text(device, "hid"), sight.text(f"{device}/firmware_node", "hid")) if device else ()
    return any(ACPI_FUNCTIONS.get(identity) == "fan" for identity in ids)


def _place(sight: Sight, places: Places, folder: str, hop: str) -> str:
    """Below the device that it belongs to; else by its type, for its number follows the order of registering."""
    device = _device(sight, folder)
    place = places.of(device) if device else ""
    kind = re.sub(r"[^0-9A-Za-z_-]+", "_", sight.text(folder, "type")) or hop
    return f"{place}/{hop}" if place else f"virtual/thermal/{kind}"


def backlight_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every backlight control; there is one without a panel too, so it is no evidence of a panel."""
    for _, folder in sight.devices(BACKLIGHT_FOLDER):
        yield Node(
            bus="backlight",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.BOUND,
            facts={**sight.facts(folder, "type", "scale"), **sight.numbers(folder, "max_brightness")},
        )
