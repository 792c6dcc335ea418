"""The kernel's events as happenings, and put in one order with what its log tells."""

from __future__ import annotations

from typing import List, Optional, Sequence, Tuple

from usbwatch.capture.stream.entries import BUSES, INTERFACE, Entry, is_device
from usbwatch.capture.stream.news import Arrived, Departed, Driven, Happening, Logged, LogWord, OverCurrent
from usbwatch.capture.stream.uevents import Uevent
from usbwatch.capture.stream.whereabouts import Whereabouts

__all__ = ["Telling", "merged"]

_BY_SUBSYSTEM = {one.subsystem: one.bus for one in BUSES}


class Telling:
    """What the kernel's events tell; ``names_logged`` when its log is heard, which gives the names of arrivals."""

    def __init__(self, whereabouts: Whereabouts, *, names_logged: bool) -> None:
        self._whereabouts = whereabouts
        self._ask_names = not names_logged

    def happening(self, event: Uevent, at_ms: int) -> Optional[Happening]:
        """What an event tells; None for most."""
        bus = _BY_SUBSYSTEM.get(event.subsystem)
        if bus is not None and is_device(bus, event.name):
            return self._of_device(Entry(bus, event.name), event, at_ms)
        return self._of_interface(event, at_ms) if bus == "usb" else None

    def _of_device(self, entry: Entry, event: Uevent, at_ms: int) -> Optional[Happening]:
        if event.action == "add":
            return self._arrived(entry, event, at_ms)
        known = self._whereabouts.known(event.folder)
        if known is None:
            return None
        if event.action == "remove":
            return Departed(at_ms=at_ms, bus=known[0], location=known[1])
        # The driver of a USB device as a whole is always the core's own.
        return None if entry.bus == "usb" else _driven(event, known, "", at_ms)

    def _arrived(self, entry: Entry, event: Uevent, at_ms: int) -> Optional[Happening]:
        seen = self._whereabouts.seen(
            entry,
            event.folder,
            self._whereabouts.number(entry),
            event.keys.get("PRODUCT", ""),
            ask_name=self._ask_names,
        )
        return Arrived(at_ms=at_ms, seen=seen) if seen is not None else None

    def _of_interface(self, event: Uevent, at_ms: int) -> Optional[Happening]:
        """What happened to an interface of a USB device; a hub's tells of its ports, too."""
        if event.name.startswith("usb") and event.action == "add":
            self._whereabouts.find_root_hubs()
            return None
        port = event.keys.get("OVER_CURRENT_PORT", "").rpartition("/")[2]
        if port:
            location = self._whereabouts.usb_location(port)
            return OverCurrent(at_ms=at_ms, location=location) if location else None
        if not INTERFACE.match(event.name):
            return None
        known = self._whereabouts.known(event.folder.rpartition("/")[0])
        return _driven(event, known, event.name, at_ms) if known is not None else None


def _driven(event: Uevent, known: Tuple[str, str], part: str, at_ms: int) -> Optional[Driven]:
    if event.action not in ("bind", "unbind"):
        return None
    driver = (event.keys.get("DRIVER") or "a driver") if event.action == "bind" else ""
    return Driven(at_ms=at_ms, bus=known[0], location=known[1], part=part, driver=driver)


def merged(lines: Sequence[Logged], told: Sequence[Happening]) -> Tuple[Happening, ...]:
    """Lines of the log and the kernel's events that came in one go, in the order in which they happened.

    Each source keeps its own order, and each event stands behind the line that tells of the same: a departure and an
    arrival are logged before the event.
    """
    happened: List[Happening] = []
    rest = list(lines)
    for happening in told:
        same = _line_of(happening)
        count = next((number for number, one in enumerate(rest, 1) if (one.word, one.location) == same), 0)
        happened += [*rest[:count], happening]
        rest = rest[count:]
    return (*happened, *rest)


def _line_of(happening: Happening) -> Optional[Tuple[LogWord, str]]:
    """Word and location of the log's line about the same; None where it has none."""
    if isinstance(happening, Arrived) and happening.seen.bus == "usb":
        return LogWord.FOUND, happening.seen.location
    if isinstance(happening, Departed) and happening.bus == "usb":
        return LogWord.GONE, happening.location
    return None
