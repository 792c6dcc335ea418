"""Sensors of the industrial I/O subsystem: ambient light, motion, hinge angle, presence.

Documentation/ABI/testing/sysfs-bus-iio. A device is told by the names of its
channels' files alone: to read a channel powers the sensor up and takes a
measurement, so none is read.
"""

from __future__ import annotations

import re
from typing import Dict, Iterator, List, Tuple

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "nodes"]

FOLDER = "sys/bus/iio/devices"

_DEVICE = re.compile(r"iio:device\d+\Z")
_CHANNEL = re.compile(r"in_([a-z]+)[0-9]*(?:_[a-z0-9~_]+)?_(?:raw|input)\Z")

_SENSED = frozenset(
    {
        "accel",
        "angl",
        "anglvel",
        "gravity",
        "humidityrelative",
        "illuminance",
        "incli",
        "intensity",
        "magn",
        "pressure",
        "proximity",
        "rot",
    }
)
"""Channel types of a part that senses the world outside; voltages, currents and temperatures are a board's own."""


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every sensor and converter; triggers are left out."""
    for name, folder in sight.devices(FOLDER):
        if _DEVICE.match(name):
            channels = _channels(sight, folder)
            facts: Dict[str, Fact] = {**sight.facts(folder, "name", "label"), "channels": " ".join(channels)}
            yield Node(
                bus="iio",
                location=places.of(folder),
                kind=Kind.FUNCTION,
                rung=Rung.WORKING if channels else Rung.BOUND,
                name=str(facts.get("name", "")),
                functions=_functions(channels),
                facts=facts,
            )


def _channels(sight: Sight, folder: str) -> List[str]:
    """Types of the channels that can be read, sorted: ``accel``, ``illuminance`` and so on."""
    shapes = (_CHANNEL.match(name) for name in sight.names(folder))
    return sorted({shape.group(1) for shape in shapes if shape})


def _functions(channels: List[str]) -> Tuple[str, ...]:
    return ("sensor",) if _SENSED.intersection(channels) else ()
