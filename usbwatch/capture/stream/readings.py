"""How batteries, mains adapters and displays stand, by one read of one file each.

The kernel tells little of them by itself. A supply's ``uevent`` file gives all
its values at once (``power_supply_uevent`` in
drivers/power/supply/power_supply_sysfs.c); the embedded controller may be
asked for them, so that is done no oftener than ``EVERY_MS``. Where one value
cannot be had, the kernel answers with an empty file (``uevent_show`` in
drivers/base/core.c): that is no reading, and says nothing. A connector's
``status`` is what the kernel knows already; reading it looks for nothing
(``status_show`` in drivers/gpu/drm/drm_sysfs.c).
"""

from __future__ import annotations

import errno
import re
from dataclasses import dataclass
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
_DECIMAL = re.compile(r"-?[0-9]{1,15}\Z")
"""A number that JSON can hold."""
_LEFT = (errno.ENODEV, errno.ENOENT)
"""What a file answers whose device has left; any other error is of the reading alone."""
_SILENT_READS = 2
"""So many reads in a row that give nothing are a battery that does not talk. Common practice, no source."""

_Carrier = Tuple[str, str]
"""Bus and location of a device."""


def supply_facts(text: str) -> Dict[str, Fact]:
    """The values in a supply's ``uevent`` file, by the names that its single files have, numbers as such."""
    facts: Dict[str, Fact] = {}
    for line in text.splitlines():
        key, equals, value = line.partition("=")
        if equals and key.startswith(_PREFIX):
            facts[key[len(_PREFIX) :].lower()] = int(value) if _DECIMAL.match(value) else value
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


@dataclass(slots=True)
class _Supply:
    """A battery or mains adapter of the unit, as its class folder showed it."""

    carrier: _Carrier
    mains: bool
    silent: int = 0
    """How many reads in a row gave nothing."""


class Readings:
    """The supplies and display connectors of a machine."""

    def __init__(self, tree: Tree, capture: Capture) -> None:
        self._tree = tree
        self._carriers = carriers(capture)
        self._declared = {node.location: node.bus for node in capture.nodes if node.kind is Kind.DEVICE}
        self._names = {(node.bus, node.location): (node.name, node.identity) for node in capture.nodes}
        self._supplies: Dict[str, _Supply] = {}
        """By folder, each supply that was seen."""
        self._strangers: Dict[str, None] = {}
        """Folders of supplies that are none of the unit's: a mouse's battery."""
        self._classes: Dict[str, Tuple[Tuple[str, ...], Dict[str, str]]] = {}
        """By class folder, the names in it and the folders that they lead to."""
        self._connectors: Dict[str, str] = {}
        """By folder, the location of each connector."""

    def supplies(self, at_ms: int) -> Tuple[Stood, ...]:
        """How each battery and mains adapter stands, those that have left included; nothing of one not read."""
        present = self._listed(power_supply.FOLDER)
        self._strangers = {folder: None for folder in self._strangers if folder in present}
        stood: List[Stood] = []
        for folder in present:
            facts = self._facts(folder)
            supply = self._supplies.get(folder) or self._new_supply(folder, facts or {})
            if supply is not None:
                stood += self._stood(at_ms, supply, facts)
        gone = [supply for folder, supply in self._supplies.items() if folder not in present]
        stood += [self._told(at_ms, supply, there=False) for supply in gone]
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
        """The values of a supply; none where they were not to be read, None where it has left."""
        try:
            return supply_facts(printable(self._tree.read(f"{folder}/uevent")))
        except OSError as error:
            return None if error.errno in _LEFT else {}

    def _new_supply(self, folder: str, facts: Mapping[str, Fact]) -> Optional[_Supply]:
        """A supply that was not known yet; None for what is no battery and no adapter of the unit."""
        if folder in self._strangers:
            return None
        # Older kernels do not name the type among the values.
        kind = facts.get("type") or self._text(folder, "type")
        scope = facts.get("scope") or self._text(folder, "scope")
        if kind and (kind not in ("Battery", "Mains") or scope == "Device"):
            self._strangers[folder] = None
        location = Places(Sight(self._tree)).of(folder)
        if not (kind and location) or folder in self._strangers:
            return None
        self._supplies[folder] = _Supply(carrier=self._carrier(location), mains=kind == "Mains")
        return self._supplies[folder]

    def _carrier(self, location: str) -> _Carrier:
        """The device that a supply is a sign of life of; for a second one of a device, a place of its own."""
        above = next((place for place in outward(location) if place in self._declared), "")
        device = self._carriers.get(location) or ((self._declared[above], above) if above else None)
        taken = {supply.carrier for supply in self._supplies.values()}
        if device is not None and device not in taken:
            return device
        places = (location, *(f"{location}#{number}" for number in range(2, len(taken) + 3)))
        return next(("power_supply", place) for place in places if ("power_supply", place) not in taken)

    def _text(self, folder: str, name: str) -> str:
        try:
            return printable(self._tree.read(f"{folder}/{name}")).strip()
        except OSError:
            return ""

    def _stood(self, at_ms: int, supply: _Supply, facts: Optional[Dict[str, Fact]]) -> List[Stood]:
        if facts is None:
            return [self._told(at_ms, supply, there=False)]
        if not facts:
            supply.silent += 1
            silent = supply.silent >= _SILENT_READS and not supply.mains
            return [self._told(at_ms, supply, talks=False)] if silent else []
        supply.silent = 0
        there = facts.get("online" if supply.mains else "present", 1) != 0
        talks = supply.mains or not there or power_supply.gauge_talks(facts)
        return [self._told(at_ms, supply, there=there, talks=talks)]

    def _told(self, at_ms: int, supply: _Supply, *, there: bool = True, talks: bool = True) -> Stood:
        bus, location = supply.carrier
        name, identity = self._names.get(supply.carrier, ("", ""))
        return Stood(
            at_ms=at_ms,
            bus=bus,
            location=location,
            name=name,
            identity=identity,
            there=there,
            talks=talks,
            mains=supply.mains,
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
