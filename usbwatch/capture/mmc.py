"""Cards behind a MultiMediaCard host: soldered eMMC disks, memory cards, SDIO parts.

Documentation/driver-api/mmc/mmc-dev-attrs.rst and ABI/testing/sysfs-bus-mmc;
``type`` is drivers/mmc/core/bus.c, ``life_time`` and ``pre_eol_info`` (of the
extended CSD, JESD84-B50 and later) drivers/mmc/core/mmc.c. All of it is what
the kernel read when the card came up; the card is asked nothing.

Nothing in sysfs says whether a card can be taken out (``removable`` of its
block device is 0 for both: drivers/mmc/core/block.c). A card of type MMC is
taken for soldered, for no reader of today is sold with such cards; behind USB
it is in a reader all the same (common practice, no source).
"""

from __future__ import annotations

import re
from typing import Dict, Iterator, Tuple

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "is_soldered", "nodes"]

FOLDER = "sys/bus/mmc/devices"
_HOSTS = "sys/class/mmc_host"

_SHORT = re.compile(r"0x[0-9a-f]{1,8}\Z")
_TEXTS = ("type", "name", "manfid", "oemid", "hwrev", "fwrev", "rev", "date", "serial", "life_time", "pre_eol_info")
_OF_A_MEDIUM = frozenset({"SD", "MMC"})
"""Types that store data; ``SDIO`` and ``SDcombo`` are parts of their own, such as radios."""


def is_soldered(kind: str, location: str) -> bool:
    """Whether a card of this ``type`` at this location is a disk of the unit rather than a medium in a reader."""
    return kind == "MMC" and "/usb" not in location


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every host, and every card that answered; an empty slot is a host without a card."""
    yield from _hosts(sight, places)
    for _, folder in sight.devices(FOLDER):
        yield _card(sight, places.of(folder), folder)


def _hosts(sight: Sight, places: Places) -> Iterator[Node]:
    if not sight.names(_HOSTS):
        return
    for _, folder in sight.devices(_HOSTS):
        yield Node(bus="mmc", location=places.of(folder), kind=Kind.INFRASTRUCTURE, rung=Rung.WORKING)


def _card(sight: Sight, location: str, folder: str) -> Node:
    driver = sight.points_to(folder, "driver")
    facts: Dict[str, Fact] = sight.facts(folder, *_TEXTS)
    kind = str(facts.get("type", ""))
    soldered = is_soldered(kind, location)
    if kind in _OF_A_MEDIUM and not soldered:
        facts["placed"] = "outside"
    return Node(
        bus="mmc",
        location=location,
        kind=Kind.DEVICE,
        rung=Rung.BOUND if driver else Rung.IDENTIFIED,
        identity=_identity(facts),
        name=str(facts.get("name", "")),
        functions=_functions(kind, soldered=soldered),
        driver=driver,
        facts=facts,
    )


def _identity(facts: Dict[str, Fact]) -> str:
    """Maker and application id of the card identification register, as ``15:0100``; "" where it has none."""
    parts = [str(facts.get(name, "")) for name in ("manfid", "oemid")]
    if not all(_SHORT.match(part) for part in parts):
        return ""
    maker, application = (int(part, 16) for part in parts)
    return f"{maker:02x}:{application:04x}"


def _functions(kind: str, *, soldered: bool) -> Tuple[str, ...]:
    if soldered:
        return ("disk",)
    return ("storage",) if kind in _OF_A_MEDIUM else ()
