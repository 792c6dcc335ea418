"""What a pure follower of a live watch is fed with in tests: devices, and shorter ways to say what happened."""

from __future__ import annotations

from collections.abc import Iterable

from usbwatch.capture.stream.following import Following, begun, followed, passed
from usbwatch.capture.stream.news import Arrived, Departed, Happening, Logged, LogWord, Seen
from usbwatch.model import WatchEvent

__all__ = ["ROOT", "arrived", "departed", "device", "events_of", "line", "told"]

ROOT = "pci0000:00/14.0/usb2"


def device(port: str, *, speed_kbps: int = 12_000, entry: int = 0, name: str = "", product: int = 1) -> Seen:
    """A USB device at a port of the one controller."""
    return Seen(
        bus="usb",
        location=f"{ROOT}/{port}",
        name=name,
        identity=f"1209:{product:04x}",
        speed_kbps=speed_kbps,
        entry=entry,
    )


def arrived(at_ms: int, seen: Seen) -> Arrived:
    return Arrived(at_ms=at_ms, seen=seen)


def departed(at_ms: int, port: str) -> Departed:
    return Departed(at_ms=at_ms, bus="usb", location=f"{ROOT}/{port}")


def line(at_ms: int, word: LogWord, port: str, *, stamp_us: int = 0, errno: int = 0, text: str = "") -> Logged:
    return Logged(at_ms=at_ms, word=word, location=f"{ROOT}/{port}", stamp_us=stamp_us, errno=errno, text=text)


def events_of(
    there: Iterable[Seen], happenings: Iterable[Happening], *, end_ms: int = 0, state: Following | None = None
) -> tuple[WatchEvent, ...]:
    """All events of a watch that began with ``there``; the clock goes with the happenings, at last to ``end_ms``."""
    state = begun(there) if state is None else state
    events: list[WatchEvent] = []
    for happening in happenings:
        state, waited = passed(state, happening.at_ms)
        state, now = followed(state, happening)
        events += [*waited, *now]
    return (*events, *passed(state, end_ms)[1])


def told(events: Iterable[WatchEvent]) -> list[tuple[str, str]]:
    """What happened where, without the controller's path."""
    return [(event.change.value, event.location.removeprefix(f"{ROOT}/")) for event in events]
