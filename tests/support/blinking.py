"""Watches for tests: devices that leave their places and come back, in an invented unit. Nothing here is real."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from usbwatch.model import Capture, Change, Kind, Mark, Watch, WatchEvent

__all__ = ["HUB", "PLACES", "blinks", "event", "watch", "watched"]

_LARCH = "pci0000:00/14.0/usb2"
HUB = f"{_LARCH}/4"
PLACES = {
    "internal-hub": HUB,
    "keyboard": f"{_LARCH}/4.1",
    "touchpad": f"{_LARCH}/4.2",
    "fingerprint-reader": f"{_LARCH}/4.3",
    "smart-card-reader": f"{_LARCH}/4.4",
    "camera": f"{_LARCH}/5",
    "battery": "acpi/_SB_.BAT0",
}
"""Where some devices of the Larch 13 sit, by id in its profile."""

FOUR_MINUTES = 240_000


def event(place: str, change: Change, at_ms: int, **more: Any) -> WatchEvent:  # noqa: ANN401 - fields of WatchEvent
    """One event; the battery's is of its readings."""
    return WatchEvent(
        at_ms=at_ms, change=change, bus="acpi" if place.startswith("acpi/") else "usb", location=place, **more
    )


def blinks(place: str, moments: Iterable[tuple[int, int]]) -> list[WatchEvent]:
    """A place that is left at each of these moments, for so long; both in milliseconds."""
    left, back = (Change.MUTE, Change.TALKING) if place.startswith("acpi/") else (Change.GONE, Change.BACK)
    pairs = (
        (event(place, left, at_ms), event(place, back, at_ms + away_ms, away_ms=away_ms)) for at_ms, away_ms in moments
    )
    return [each for pair in pairs for each in pair]


def watch(
    events: Iterable[WatchEvent],
    *,
    lasted_ms: int = FOUR_MINUTES,
    places: Iterable[str] = (),
    marks: Sequence[Mark] = (),
    missed: int = 0,
) -> Watch:
    """Four minutes of watching these places, and those of the events."""
    told = sorted(events, key=lambda one: one.at_ms)
    return Watch(
        began_at="2026-03-11T10:03:00Z",
        lasted_ms=lasted_ms,
        sources=("kernel log", "looks", "readings", "uevents"),
        limit_ms=100,
        watched=tuple(sorted({*places, *(one.location for one in told)})),
        events=tuple(told),
        marks=tuple(marks),
        missed=missed,
    )


def watched(capture: Capture, leaving: Mapping[str, Iterable[tuple[int, int]]], marks: Sequence[Mark] = ()) -> Capture:
    """A capture after a watch of all its devices, in which those of these places left at these moments."""
    there = {node.location: node for node in capture.nodes if node.kind is Kind.DEVICE}
    events = [
        replace(one, name=there[place].name, identity=there[place].identity) if place in there else one
        for place, moments in leaving.items()
        for one in blinks(place, moments)
    ]
    return replace(capture, watches=(*capture.watches, watch(events, places=there, marks=marks)))
