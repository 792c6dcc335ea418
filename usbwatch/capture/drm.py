"""Display connectors and what their EDID says.

drivers/gpu/drm/drm_sysfs.c, names by drm_connector.c. ``status`` is no proof
of a panel: at least one major driver reports its panel connector as connected
whatever hangs on it. An EDID that was read is.
"""

from __future__ import annotations

import re
from typing import Dict, Iterator

from usbwatch.capture.decode.edid import decode
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight, named
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "nodes"]

FOLDER = "sys/class/drm"

_CONNECTOR = re.compile(r"card\d+-(.+)\Z")
_INTERNAL = ("eDP", "LVDS", "DSI", "DPI", "SPI")
"""Connector types that lead to a panel inside the unit; the others lead to sockets."""


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every display connector."""
    for name, folder in sight.devices(FOLDER):
        shape = _CONNECTOR.match(name)
        if shape:
            yield _connector(sight, places, folder, named(shape.group(1)))


def _connector(sight: Sight, places: Places, folder: str, connector: str) -> Node:
    internal = connector.startswith(_INTERNAL)
    data = sight.blob(folder, "edid")
    facts: Dict[str, Fact] = {**sight.facts(folder, "status", "enabled"), "edid_bytes": len(data)}
    modes = sight.text(folder, "modes").splitlines()
    if modes:
        facts["first_mode"] = modes[0]
    identity, rung = "", Rung.ATTACHED if facts.get("status") == "connected" else Rung.ABSENT
    if data:
        decoded = decode(data)
        identity = decoded.identity
        rung = Rung.WORKING if decoded.checksum_good and identity else Rung.IDENTIFIED
        if decoded.defects:
            facts["edid_defects"] = len(decoded.defects)
    return Node(
        bus="drm",
        location=places.of(folder),
        kind=Kind.DEVICE if internal else Kind.PORT,
        rung=rung,
        identity=identity,
        name=connector,
        functions=("panel",) if internal else (),
        facts=facts,
        raw={"edid": data.hex()} if data else {},
    )
