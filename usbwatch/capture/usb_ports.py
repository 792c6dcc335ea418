"""USB ports as sysfs shows them: drivers/usb/core/port.c, Documentation/ABI/testing/sysfs-bus-usb."""

from __future__ import annotations

import re
from typing import Dict, Iterator

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["PORT_RUNGS", "ports"]

_PORT = re.compile(r"(?:usb\d+|\d+-[\d.]+)-port\d+\Z")
_PORT_TEXTS = ("connect_type", "state", "location")

PORT_RUNGS: Dict[str, Rung] = {
    "not attached": Rung.ABSENT,
    "attached": Rung.ATTACHED,
    "powered": Rung.ATTACHED,
    "reconnecting": Rung.ATTACHED,
    "unauthenticated": Rung.ATTACHED,
    "default": Rung.ATTACHED,
    "addressed": Rung.ADDRESSED,
    "configured": Rung.CONFIGURED,
    "suspended": Rung.CONFIGURED,
}
"""The port's ``state`` (kernel 6.6 and later; USB 2.0 table 9-1 has the same words) on our scale."""


def ports(sight: Sight, places: Places, interface: str) -> Iterator[Node]:
    """Every port of the hub whose hub interface has the folder ``interface``."""
    for name in sight.names(interface):
        if _PORT.match(name):
            yield _port(sight, places, f"{interface}/{name}")


def _port(sight: Sight, places: Places, folder: str) -> Node:
    facts: Dict[str, Fact] = {
        **sight.facts(folder, *_PORT_TEXTS),
        **sight.numbers(folder, "over_current_count"),
        **sight.facts(f"{folder}/physical_location", "panel", "lid", "dock"),
    }
    peer = f"{folder}/peer"
    if sight.real(peer) != peer:
        facts["peer"] = places.of(sight.real(peer))
    taken = bool(sight.points_to(folder, "device"))
    rung = PORT_RUNGS.get(str(facts.get("state", "")), Rung.IDENTIFIED if taken else Rung.ABSENT)
    if taken and not rung.reaches(Rung.IDENTIFIED):
        rung = Rung.IDENTIFIED
    return Node(bus="usb-port", location=places.of(folder), kind=Kind.PORT, rung=rung, facts=facts)
