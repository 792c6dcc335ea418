"""A watch of the demo's Larch 13, as a script of events: what a flex, a hub and a helper do on the bench."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from functools import cache

from support.make_readme import ROOT

from usbwatch.capture import load
from usbwatch.compare import findings
from usbwatch.compare.incidents import begun, due, taken, told_once
from usbwatch.compare.standing import begun_standing, moved_standing, standing
from usbwatch.model import Capture, Change, Mark, Profile, Watch, WatchEvent
from usbwatch.profile import find
from usbwatch.show.live_page import LivePage

__all__ = [
    "BEGAN",
    "CAMERA",
    "FINGERPRINT",
    "HELPER",
    "HUB",
    "KEYBOARD",
    "LARCH",
    "MARKS",
    "SMART_CARD",
    "SOURCES",
    "TOUCHPAD",
    "back",
    "event",
    "flexed",
    "gone",
    "healthy",
    "top_case_lost",
    "watch_of",
    "watched",
]

BEGAN = datetime(2026, 11, 24, 14, 5, 12, tzinfo=UTC)
LARCH = find("fernhill-larch-13")
_USB = "pci0000:00/14.0/usb2/"
HUB, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD = (f"{_USB}{port}" for port in ("4", "4.1", "4.2", "4.3", "4.4"))
CAMERA = f"{_USB}5"
HELPER = f"{_USB}1"
"""A socket on the right-hand side."""
SOURCES = ("kernel log", "looks", "readings", "uevents")


@cache
def healthy() -> Capture:
    return load(str(ROOT / "captures" / "larch-13-healthy.json"))


@cache
def top_case_lost() -> Capture:
    return load(str(ROOT / "captures" / "larch-13-top-case-lost.json"))


def event(at_ms: int, change: Change, location: str, bus: str = "usb", **more: int | str) -> WatchEvent:
    return WatchEvent(at_ms=at_ms, change=change, bus=bus, location=location, **more)  # type: ignore[arg-type]


def gone(at_ms: int, *locations: str, step_ms: int = 5) -> list[WatchEvent]:
    """What is at these places leaves, one after another."""
    return [event(at_ms + number * step_ms, Change.GONE, place) for number, place in enumerate(locations)]


def back(at_ms: int, away_ms: int, *locations: str, step_ms: int = 120) -> list[WatchEvent]:
    return [
        event(at_ms + number * step_ms, Change.BACK, place, away_ms=away_ms + number * step_ms)
        for number, place in enumerate(locations)
    ]


def flexed() -> tuple[WatchEvent, ...]:
    """The lid is opened and closed: the top case goes three times, the camera falls back, a helper is plugged in."""
    top_case = (KEYBOARD, TOUCHPAD, FINGERPRINT)
    return (
        event(9_000, Change.CAME, HELPER, name="Plover mouse", identity="1209:0007"),
        *gone(31_000, *top_case),
        *back(34_200, 3_200, *top_case),
        event(52_000, Change.SLOWER, CAMERA, speed_kbps=12_000, was_kbps=480_000),
        *gone(71_400, *top_case),
        *back(72_300, 900, *top_case),
        event(88_000, Change.FASTER, CAMERA, speed_kbps=480_000, was_kbps=12_000),
        *gone(101_000, *top_case),
    )


MARKS = (Mark(at_ms=29_500, text="lid at 45 degrees"), Mark(at_ms=70_100, text="pressing above the flex latch"))


def watch_of(events: Iterable[WatchEvent], capture: Capture, lasted_ms: int = 0) -> Watch:
    events = tuple(events)
    return Watch(
        began_at="2026-11-24T14:05:12Z",
        lasted_ms=max([lasted_ms, *(one.at_ms for one in events)]),
        sources=SOURCES,
        limit_ms=100,
        watched=_watched_places(capture),
        events=events,
    )


def _watched_places(capture: Capture) -> tuple[str, ...]:
    expected = {place for device in LARCH.devices for place in device.locations}
    return tuple(sorted({node.location for node in capture.nodes if node.kind.value == "device"} | expected))


def watched(
    events: Iterable[WatchEvent],
    now_ms: int,
    *,
    capture: Capture | None = None,
    profile: Profile = LARCH,
    marks: tuple[Mark, ...] = (),
    missed: int = 0,
) -> LivePage:
    """The watch as it stands at ``now_ms``."""
    capture = capture or healthy()
    found = findings(capture, profile)
    happened = [one for one in events if one.at_ms <= now_ms]
    courses = begun_standing(found, profile, _watched_places(capture), capture)
    state = begun(capture, found, profile)
    for one in happened:
        courses, state = moved_standing(courses, one), taken(state, one)
    _, told = due(state, now_ms)
    return LivePage(
        began=BEGAN,
        now_ms=now_ms,
        unit=capture.unit,
        profile=profile,
        standings=standing(courses, now_ms),
        incidents=told_once(told),
        marks=tuple(mark for mark in marks if mark.at_ms <= now_ms),
        sources=SOURCES,
        limit_ms=100,
        missed=missed,
        tool="0.0.test",
    )
