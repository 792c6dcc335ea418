"""USB Type-C: the ports, and what is plugged into them.

Documentation/ABI/testing/sysfs-class-typec. The class hands out what the port
controller last reported (drivers/usb/typec/class.c, from memory): neither
controller nor partner is asked when a file is read. A partner or a cable is
never a part of the unit.
"""

from __future__ import annotations

import re
from typing import Dict, Iterator

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "nodes"]

FOLDER = "sys/class/typec"

_ENTRY = re.compile(r"port\d+(?:-(partner|cable))?\Z")
_ALTERNATE_MODE = re.compile(r"port\d+(?:-partner)?\.\d+\Z")
_SVID = re.compile(r"[0-9a-f]{4}\Z")
_VDO = re.compile(r"0x[0-9a-f]{1,8}\Z")

_PORT_TEXTS = (
    "data_role",
    "power_role",
    "port_type",
    "power_operation_mode",
    "orientation",
    "vconn_source",
    "usb_power_delivery_revision",
    "usb_typec_revision",
)
_PLUGGED_TEXTS = (
    "type",
    "plug_type",
    "accessory_mode",
    "supports_usb_power_delivery",
    "usb_power_delivery_revision",
)


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every port, and the partner and cable in it; cable plugs are left out."""
    for name, folder in sight.devices(FOLDER):
        entry = _ENTRY.match(name)
        if entry:
            yield _plugged(sight, places.of(folder), folder) if entry.group(1) else _port(sight, places, folder)


def _port(sight: Sight, places: Places, folder: str) -> Node:
    facts: Dict[str, Fact] = {**sight.facts(folder, *_PORT_TEXTS), **_alternate_modes(sight, folder)}
    return Node(bus="typec", location=places.of(folder), kind=Kind.PORT, rung=Rung.WORKING, facts=facts)


def _plugged(sight: Sight, location: str, folder: str) -> Node:
    facts: Dict[str, Fact] = {**sight.facts(folder, *_PLUGGED_TEXTS), **_alternate_modes(sight, folder)}
    facts["placed"] = "outside"
    identity = _identity(sight, f"{folder}/identity")
    return Node(
        bus="typec",
        location=location,
        kind=Kind.DEVICE,
        rung=Rung.IDENTIFIED if identity else Rung.ATTACHED,
        identity=identity,
        facts=facts,
    )


def _alternate_modes(sight: Sight, folder: str) -> Dict[str, Fact]:
    """Standard or vendor ids of the alternate modes, sorted: ``ff01`` is DisplayPort (drivers/usb/typec/altmodes)."""
    ids = [sight.text(f"{folder}/{name}", "svid") for name in sight.names(folder) if _ALTERNATE_MODE.match(name)]
    known = sorted({svid for svid in ids if _SVID.match(svid)})
    return {"alternate_modes": " ".join(known)} if known else {}


def _identity(sight: Sight, folder: str) -> str:
    """``vendor:product`` of Discover Identity, "" where nothing was told.

    USB Power Delivery 3.1 section 6.4.4.3.1 (from memory): the vendor id is
    the low half of the ID header, the product id the high half of the
    product object. All zero until the partner has answered.
    """
    words = [sight.text(folder, name) for name in ("id_header", "product")]
    if not all(_VDO.match(word) for word in words):
        return ""
    vendor, product = int(words[0], 16) & 0xFFFF, int(words[1], 16) >> 16
    return f"{vendor:04x}:{product:04x}" if vendor else ""
