"""What firmware declares: ACPI objects, their status bits, and the parts that only firmware can show.

Documentation/ABI/testing/sysfs-bus-acpi. ``status`` is decimal: bit 0
present, 1 enabled, 2 shown, 3 functioning, 4 battery in the slot; without the
file firmware claims "always present" (drivers/acpi/bus.c). A declaration is
neither proof of presence nor of absence.
"""

from __future__ import annotations

from typing import Dict, Iterator

from usbwatch.capture.functions import ACPI_FUNCTIONS
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "nodes"]

FOLDER = "sys/bus/acpi/devices"

_PRESENT, _BATTERY_IN_SLOT = 1, 16
_WITHOUT_STATUS = 15


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every ACPI object that has a hardware id; unnamed objects (ports, bridges) are left to their own bus."""
    for _, folder in sight.devices(FOLDER):
        hid = sight.text(folder, "hid")
        if hid:
            yield _declared(sight, places, folder, hid)


def _declared(sight: Sight, places: Places, folder: str, hid: str) -> Node:
    facts: Dict[str, Fact] = {**sight.numbers(folder, "status"), **sight.facts(folder, "uid", "description")}
    ids = sight.text(folder, "modalias").partition("acpi:")[2].split(":")[1:]
    compatible = " ".join(filter(None, ids))
    if compatible:
        facts["compatible_ids"] = compatible
    physical = f"{folder}/physical_node"
    if sight.real(physical) != physical:
        facts["physical"] = places.of(sight.real(physical))
    function = ACPI_FUNCTIONS.get(hid, "")
    return Node(
        bus="acpi",
        location=places.of(folder),
        kind=Kind.DEVICE if function else Kind.DECLARED,
        rung=_rung(facts, function),
        identity=hid,
        functions=(function,) if function else (),
        driver=sight.points_to(folder, "driver") or sight.points_to(f"{folder}/physical_node", "driver"),
        facts=facts,
    )


def _rung(facts: Dict[str, Fact], function: str) -> Rung:
    status = facts.get("status", _WITHOUT_STATUS | _BATTERY_IN_SLOT)
    wanted = _PRESENT | (_BATTERY_IN_SLOT if function == "battery" else 0)
    return Rung.ATTACHED if isinstance(status, int) and status & wanted == wanted else Rung.ABSENT
