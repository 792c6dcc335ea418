"""Looks at what is there: the entries of all buses, and which drivers hold them. Only what is new is read."""

from __future__ import annotations

from pathlib import Path
from typing import Dict, List, Optional, Tuple

from usbwatch.capture.stream.entries import INTERFACE, Entry, entries, interfaces
from usbwatch.capture.stream.news import Driven, Seen
from usbwatch.capture.stream.whereabouts import Whereabouts

__all__ = ["Looks"]

_DRIVEN = frozenset({"serio", "i2c", "spi", "pci"})
"""Buses whose devices are held by a driver of their own; a USB device is held by its interfaces'."""


class Looks:
    """Looks at one machine, one after another."""

    def __init__(self, whereabouts: Whereabouts, *, ask_names: bool) -> None:
        self._whereabouts = whereabouts
        self._ask_names = ask_names
        self._known: Dict[Entry, Tuple[int, str, Optional[Seen]]] = {}
        """Of each entry its number, its folder, and the device that it is."""
        self._drivers: Dict[Tuple[str, str, str], str] = {}
        """By bus, location and part."""

    def look(self) -> Tuple[Seen, ...]:
        """Every device that is there."""
        now: Dict[Entry, Tuple[int, str, Optional[Seen]]] = {}
        for entry, number in entries().items():
            known = self._known.get(entry)
            now[entry] = known if known is not None and known[0] == number else self._new(entry, number)
        self._known = now
        return tuple(seen for _, _, seen in now.values() if seen is not None)

    def _new(self, entry: Entry, number: int) -> Tuple[int, str, Optional[Seen]]:
        if entry.bus == "usb" and entry.name.partition("-")[0] not in self._whereabouts.root_hubs:
            self._whereabouts.find_root_hubs()
        folder = self._whereabouts.folder(entry)
        seen = self._whereabouts.seen(entry, folder, number, ask_name=self._ask_names) if folder else None
        return number, folder, seen

    def drivers(self, at_ms: int) -> List[Driven]:
        """What changed of the drivers that hold what the last look found; at the first time, nothing."""
        now = dict(self._held())
        changed = [
            Driven(at_ms=at_ms, bus=bus, location=location, part=part, driver=driver)
            for (bus, location, part), driver in now.items()
            if self._drivers.get((bus, location, part), driver) != driver
        ]
        self._drivers = now
        return changed

    def _held(self) -> List[Tuple[Tuple[str, str, str], str]]:
        held = [
            ((seen.bus, seen.location, ""), _driver(folder))
            for entry, (_, folder, seen) in self._known.items()
            if seen is not None and entry.bus in _DRIVEN
        ]
        folders = {entry.name: (folder, seen) for entry, (_, folder, seen) in self._known.items() if entry.bus == "usb"}
        for name in interfaces():
            shape = INTERFACE.match(name)
            folder, seen = folders.get(shape.group(1) if shape else "", ("", None))
            if seen is not None:
                held.append((("usb", seen.location, name), _driver(f"{folder}/{name}")))
        return held


def _driver(folder: str) -> str:
    try:
        return Path(f"/{folder}/driver").readlink().name
    except OSError:
        return ""
