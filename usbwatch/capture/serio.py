"""PS/2 ports (i8042 and others).

A port exists because its controller exists; it does not prove a device
(drivers/input/serio/i8042.c). On laptops the kernel also skips the keyboard's
identify command and assumes one (drivers/input/keyboard/atkbd.c), so what is
recorded here of a keyboard port is the kernel's belief; ``compare`` says so.
"""

from __future__ import annotations

from typing import Iterator

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Kind, Node, Rung

__all__ = ["FOLDER", "nodes"]

FOLDER = "sys/bus/serio/devices"


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every PS/2 port, with the driver that found something behind it."""
    for _, folder in sight.devices(FOLDER):
        driver = sight.points_to(folder, "driver")
        yield Node(
            bus="serio",
            location=places.of(folder),
            kind=Kind.DEVICE,
            rung=Rung.BOUND if driver else Rung.ABSENT,
            identity=sight.text(folder, "firmware_id").partition("PNP: ")[2].split(" ")[0],
            name=sight.text(folder, "description"),
            driver=driver,
            facts=sight.facts(folder, "protocol", "id/type"),
        )
