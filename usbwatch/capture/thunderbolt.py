"""Thunderbolt and USB4: connection domains, the unit's own router, and what is plugged in.

Documentation/ABI/testing/sysfs-bus-thunderbolt, admin-guide/thunderbolt.rst.
The unit's router is route 0 of its domain (``0-0``); every other device is on
a cable. ``key``, which holds a secret, and ``unique_id`` are not read. Some
controllers are powered off while nothing is plugged in, so no domain is no
fault (common practice, no source).
"""

from __future__ import annotations

import re
from typing import Dict, Iterator

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["FOLDER", "nodes"]

FOLDER = "sys/bus/thunderbolt/devices"

_DOMAIN = re.compile(r"domain\d+\Z")
_ROUTER = re.compile(r"\d+-([0-9a-f]+)\Z")
_ID = re.compile(r"0x[0-9a-f]{1,4}\Z")

_DOMAIN_TEXTS = ("security",)
_DOMAIN_NUMBERS = ("iommu_dma_protection", "deauthorization")
_TEXTS = ("device_name", "vendor_name", "nvm_version", "rx_speed", "tx_speed")
_NUMBERS = ("authorized", "generation", "rx_lanes", "tx_lanes")


def nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every domain and router; retimers, services and NVM devices are left out."""
    for name, folder in sight.devices(FOLDER):
        router = _ROUTER.match(name)
        if router:
            yield _router(sight, places.of(folder), folder, own=not int(router.group(1), 16))
        elif _DOMAIN.match(name):
            yield Node(
                bus="thunderbolt",
                location=places.of(folder),
                kind=Kind.INFRASTRUCTURE,
                rung=Rung.WORKING,
                facts={**sight.facts(folder, *_DOMAIN_TEXTS), **sight.numbers(folder, *_DOMAIN_NUMBERS)},
            )


def _router(sight: Sight, location: str, folder: str, *, own: bool) -> Node:
    facts: Dict[str, Fact] = {**sight.facts(folder, *_TEXTS), **sight.numbers(folder, *_NUMBERS)}
    if not own:
        facts["placed"] = "outside"
    return Node(
        bus="thunderbolt",
        location=location,
        kind=Kind.INFRASTRUCTURE if own else Kind.DEVICE,
        rung=Rung.IDENTIFIED if facts.get("authorized") == 0 else Rung.WORKING,
        identity=_identity(sight, folder),
        name=str(facts.get("device_name", "")),
        facts=facts,
    )


def _identity(sight: Sight, folder: str) -> str:
    """``vendor:device``, the numbers of the router's own memory (its DROM)."""
    parts = [sight.text(folder, name) for name in ("vendor", "device")]
    if not all(_ID.match(part) for part in parts):
        return ""
    vendor, device = (int(part, 16) for part in parts)
    return f"{vendor:04x}:{device:04x}"
