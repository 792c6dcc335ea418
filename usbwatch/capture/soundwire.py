"""SoundWire: audio codecs and amplifiers, and whether they are really on the bus.

Documentation/ABI/testing/sysfs-bus-soundwire-slave: a peripheral has a folder
when firmware declares it, and its ``status`` tells those that are "not
physically present on the bus". It is the state that the controller last
reported; the peripheral is asked nothing (drivers/soundwire/sysfs_slave.c).
"""

from __future__ import annotations

import re
from typing import Dict, Iterator, Optional

from usbwatch.capture.place import SOUNDWIRE_PERIPHERAL, Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "STATUS_RUNGS", "nodes"]

FOLDER = "sys/bus/soundwire/devices"

_LINK = re.compile(r"sdw-master-[\d-]+\Z")
_PROPERTIES = ("mipi_revision", "source_ports", "sink_ports", "wake_capable")

STATUS_RUNGS: Dict[str, Rung] = {
    "UNATTACHED": Rung.ABSENT,
    "Attached": Rung.IDENTIFIED,
    "Alert": Rung.IDENTIFIED,
    "RESERVED": Rung.ATTACHED,
}
"""Words of ``status`` (drivers/soundwire/sysfs_slave.c) on our scale; *Alert* is attached and asks for service.

An attached peripheral has told its identity: the controller enumerates by it.
"""


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every link, and every peripheral that firmware declares or that attached."""
    for name, folder in sight.devices(FOLDER):
        peripheral = SOUNDWIRE_PERIPHERAL.match(name)
        if peripheral:
            maker, part = peripheral.group("maker", "part")
            yield _peripheral(sight, places.of(folder), folder, f"{maker}:{part}")
        elif _LINK.match(name):
            yield Node(bus="soundwire", location=places.of(folder), kind=Kind.INFRASTRUCTURE, rung=Rung.WORKING)


def _peripheral(sight: Sight, location: str, folder: str, identity: str) -> Node:
    driver = sight.points_to(folder, "driver")
    facts: Dict[str, Fact] = {
        **sight.facts(folder, "status"),
        **sight.numbers(folder, "device_number"),
        **sight.numbers(f"{folder}/dev-properties", *_PROPERTIES),
    }
    return Node(
        bus="soundwire",
        location=location,
        kind=Kind.DEVICE,
        rung=_rung(STATUS_RUNGS.get(str(facts.get("status", ""))), driver),
        identity=identity,
        functions=("audio",),
        driver=driver,
        facts=facts,
    )


def _rung(told: Optional[Rung], driver: str) -> Rung:
    """Without ``status`` (its ABI is of September 2020) folder and driver are firmware's word, and no more."""
    if told is None:
        return Rung.ATTACHED
    return Rung.WORKING if driver and told is Rung.IDENTIFIED else told
