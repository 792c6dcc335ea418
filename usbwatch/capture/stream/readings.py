"""How batteries, mains adapters and displays stand, by one read of one file each.

The kernel tells little of them by itself. A supply's ``uevent`` file gives all
its values at once (``power_supply_uevent`` in
drivers/power/supply/power_supply_sysfs.c); the embedded controller may be
asked for them, so that is done no oftener than ``EVERY_MS``. A connector's
``status`` is what the kernel knows already; reading it looks for nothing
(``status_show`` in drivers/gpu/drm/drm_sysfs.c).
"""

from __future__ import annotations

import errno
from typing import Dict, Iterator, List, Mapping, Optional, Tuple

from usbwatch.capture import drm, power_supply
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight, printable
from usbwatch.capture.stream.news import Stood
from usbwatch.capture.tree import Tree
from usbwatch.model import Capture, Fact, Kind, outward

__all__ = ["EVERY_MS", "Readings", "carriers", "supply_facts"]

EVERY_MS = 2000
"""How often supplies are read."""

_PREFIX = "POWER_SUPPLY_"
_SILENT = (errno.EIO, errno.ETIMEDOUT, errno.EAGAIN)

_Carrier = Tuple[str, str]
"""Bus and location of a device."""


def supply_facts(text: str) -> Dict[str, Fact]:
    """The values in a supply's ``uevent`` file, by the names that its single files have, numbers as such."""
    facts: Dict[str, Fact] = {}
    for line in text.splitlines():
        key, equals, value = line.partition("=")
        if equals and key.startswith(_PREFIX):
            number = value.lstrip("-")
            decimal = number.isascii() and number.isdigit() and len(number) < 16  # noqa: PLR2004 - a JSON number's
            facts[key[len(_PREFIX) :].lower()] = int(value) if decimal else value
    return facts


def carriers(capture: Capture) -> Dict[str, _Carrier]:
    """By location of each supply, the device that it is a sign of life of: what a profile expects is that device."""
    devices = {node.location: node.bus for node in capture.nodes if node.kind is Kind.DEVICE}
    found: Dict[str, _Carrier] = {}
    for node in capture.nodes:
        if node.bus == "power_supply":
            place = next((place for place in outward(node.location) if place in devices), "")
            if place:
                found[node.location] = (devices[place], place)
    return found


class Readings:
    """The supplies and display connectors of a machine."""

    def __init__(self, tree: Tree, capture: Capture) -> None:
        self._tree = tree
        self._carriers = carriers(capture)
        self._declared = {node.location: node.bus for node in capture.nodes if node.kind is Kind.DEVICE}
        self._names = {(node.bus, node.location): (node.name, node.identity) for node in capture.nodes}
        self._supplies: Dict[str, _Carrier] = {}
        """By folder, the device of each supply that was seen."""
        self._classes: Dict[str, Tuple[Tuple[str, ...], Dict[str, str]]] = {}
        """By class folder, the names in it and the folders that they lead to."""
        self._connectors: Dict[str, str] = {}
        """By folder, the location of each connector."""

    def supplies(self, at_ms: int) -> Tuple[Stood, ...]:
        """How each battery and mains adapter stands, those that have left included."""
        present = self._listed(power_supply.FOLDER)
        stood: List[Stood] = []
        for folder in present:
            facts = self._facts(folder)
            carrier = self._supplies.get(folder) or self._new_supply(folder, facts or {})
            if carrier is not None:
                stood.append(self._stood(at_ms, carrier, facts))
        gone = [carrier for folder, carrier in self._supplies.items() if folder not in present]
        stood += [Stood(at_ms=at_ms, bus=bus, location=location, there=False) for bus, location in gone]
        return tuple(stood)

    def displays(self, at_ms: int) -> Tuple[Stood, ...]:
        """How each display connector stands."""
        return tuple(self._displays(at_ms))

    def _listed(self, folder: str) -> Dict[str, str]:
        """Real folders of the entries of a class, with the names of the entries; worked out when they change."""
        try:
            names = self._tree.list(folder)
        except OSError:
            return {}
        known = self._classes.get(folder)
        if known is None or known[0] != names:
            self._classes[folder] = known = (names, self._folders(folder))
        return known[1]

    def _folders(self, folder: str) -> Dict[str, str]:
        try:
            return {real: name for name, real in Sight(self._tree).devices(folder)}
        except OSError:
            return {}

    def _facts(self, folder: str) -> Optional[Dict[str, Fact]]:
        """The values of a supply; none where it does not answer, None where it has left."""
        try:
            return supply_facts(printable(self._tree.read(f"{folder}/uevent")))
        except OSError as error:
            return {} if error.errno in _SILENT else None

    def _new_supply(self, folder: str, facts: Mapping[str, Fact]) -> Optional[_Carrier]:
        """The device of a supply that was not known yet; None for what is no battery and no adapter of the unit."""
        if facts.get("type") not in ("Battery", "Mains") or facts.get("scope") == "Device":
            return None
        location = Places(Sight(self._tree)).of(folder)
        if not location:
            return None
        above = next((place for place in outward(location) if place in self._declared), "")
        known = self._carriers.get(location) or ((self._declared[above], above) if above else None)
        self._supplies[folder] = known or ("power_supply", location)
        return self._supplies[folder]

    def _stood(self, at_ms: int, carrier: _Carrier, facts: Optional[Dict[str, Fact]]) -> Stood:
        bus, location = carrier
        name, identity = self._names.get(carrier, ("", ""))
        facts_now = facts if facts is not None else {}
        mains = facts_now.get("type") == "Mains"
        there = facts is not None and facts.get("online" if mains else "present", 1) != 0
        talks = mains or not there or power_supply.gauge_talks(facts_now)
        return Stood(
            at_ms=at_ms,
            bus=bus,
            location=location,
            name=name,
            identity=identity,
            there=there,
            talks=talks,
            mains=mains,
        )

    def _displays(self, at_ms: int) -> Iterator[Stood]:
        for folder, name in self._listed(drm.FOLDER).items():
            if "-" not in name:
                continue
            location = self._connectors.get(folder)
            if location is None:
                self._connectors[folder] = location = Places(Sight(self._tree)).of(folder)
            try:
                status = self._tree.read(f"{folder}/status")
            except OSError:
                continue
            if location and status.strip() in (b"connected", b"disconnected"):
                connector, identity = self._names.get(("drm", location), (name.partition("-")[2], ""))
                there = status.strip() == b"connected"
                yield Stood(at_ms=at_ms, bus="drm", location=location, name=connector, identity=identity, there=there)
