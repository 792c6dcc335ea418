"""One sitting at a bench: a unit that is watched, from the first look to the record.

Happenings come in, incidents go out, and what there is to show or to
keep is asked for. No clock, no signal and no file here.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Protocol

from usbwatch import __version__
from usbwatch.capture.stream import begun, followed, passed
from usbwatch.capture.stream.news import Dropped, Happening, Looked, Seen, Stood
from usbwatch.compare.incidents import begun as begun_grouping
from usbwatch.compare.incidents import due, next_due_ms, taken, told_once
from usbwatch.compare.scene import bus_of
from usbwatch.compare.standing import begun_standing, moved_standing, standing
from usbwatch.model import Capture, Findings, Incident, Kind, Mark, Profile, Watch, WatchEvent, hangs_on

if TYPE_CHECKING:
    from usbwatch.show.live_page import LivePage

__all__ = ["ABSENCE_TOLD", "News", "Sitting", "Start", "Stream", "concerns_the_unit"]

ABSENCE_TOLD = frozenset({"usb", "mmc", "thunderbolt", "typec"})
"""Buses on which the kernel notices by itself that something left.

A PS/2 port, an I2C client and a PCI function in a socket without hot-plug stay where they are whatever happens to the
part, and so does a panel's connector: of these only drivers that come and go are told.
"""
_READ = frozenset({"battery", "mains-adapter"})
"""Functions of devices whose readings are watched, where there are any."""
_ROOM = 200_000
"""Events, marks and places of one watch, where nobody says how many (``usbwatch.capture.saved.MOST_IN_WATCHES``)."""
_STEP_S = 1.0
_LAST_MS = 60_000
"""Beyond every time for which an incident waits for more."""

News = Incident | Mark


class Stream(Protocol):
    """What a machine and its person tell: ``usbwatch.capture.stream.LiveStream``, or anything that stands in for it."""

    @property
    def sources(self) -> tuple[str, ...]:
        """What tells of events."""

    @property
    def limit_ms(self) -> int:
        """The shortest absence that is seen for certain."""

    def begin(self, capture: Capture) -> tuple[tuple[Seen, ...], tuple[Stood, ...]]:
        """What is there, and how it stands."""

    def wait(self, timeout_s: float) -> tuple[Happening, ...]:
        """What happened, waiting at most so long for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """What a watch begins with."""

    began: datetime
    capture: Capture
    findings: Findings
    profile: Profile
    asked_profile: str = ""
    """The profile as it was named on the command line, "" where none was."""


class Sitting:
    """A watch that goes on. ``now_ms`` counts from its beginning, and is the stream's clock, too."""

    def __init__(self, stream: Stream, start: Start, now_ms: Callable[[], int], room: int = _ROOM) -> None:
        """``room``: how many events, marks and watched places the record may have."""
        self._stream = stream
        self._start = start
        self.now_ms = now_ms
        seen, stood = stream.begin(start.capture)
        self._locations = _watched(start.profile, seen, stood)
        self._state = begun(_at_capture(start.capture, seen), stood, _peers(start.capture))
        self._grouping = begun_grouping(start.capture, start.findings, start.profile)
        self._courses = begun_standing(start.findings, start.profile, self._locations, start.capture)
        self._sources = set(stream.sources)
        self._limit_ms = stream.limit_ms
        self._events: list[WatchEvent] = []
        self._most = room - len(self._locations)
        self._marks: list[Mark] = []
        self._incidents: list[Incident] = []
        self._missed = 0
        # What came or went while the capture was taken is told, too.
        self._take(followed(self._state, Looked(at_ms=now_ms(), seen=seen, since_ms=now_ms())))

    def waited(self, *until_ms: int | None) -> tuple[Incident, ...]:
        """What there is to tell after waiting for it, for a second or till the first of ``until_ms`` at most."""
        now_ms = self.now_ms()
        times = (*until_ms, next_due_ms(self._grouping))
        patience = min([_STEP_S, *((at_ms - now_ms) / 1000 for at_ms in times if at_ms is not None)])
        for happening in self._stream.wait(max(0.0, patience)):
            self._missed += isinstance(happening, Dropped)
            self._take(followed(self._state, happening))
        self._take(passed(self._state, self.now_ms()))
        self._sources |= set(self._stream.sources)
        self._limit_ms = max(self._limit_ms, self._stream.limit_ms)
        return self._told(self.now_ms())

    def mark(self, text: str) -> Mark:
        """A mark at this moment."""
        self._marks.append(Mark(at_ms=self.now_ms(), text=text))
        return self._marks[-1]

    def ended(self) -> tuple[Incident, ...]:
        """What was still held back for what might belong to it."""
        return self._told(self.now_ms() + _LAST_MS)

    def _take(self, step: tuple[object, Iterable[WatchEvent]]) -> None:
        state, events = step
        self._state = state  # type: ignore[assignment]
        for event in events:
            if len(self._events) + len(self._marks) >= self._most:
                self._missed += 1  # the watch is about to end for it
                return
            self._events.append(event)
            self._grouping = taken(self._grouping, event)
            self._courses = moved_standing(self._courses, event)

    def _told(self, now_ms: int) -> tuple[Incident, ...]:
        self._grouping, incidents = due(self._grouping, now_ms)
        self._incidents += incidents
        return incidents

    def watched(self) -> LivePage:
        """The watch as it stands now, for the pages."""
        from usbwatch.show.live_page import LivePage

        now_ms = self.now_ms()
        return LivePage(
            began=self._start.began,
            now_ms=now_ms,
            unit=self._start.capture.unit,
            profile=self._start.profile,
            standings=standing(self._courses, now_ms),
            incidents=told_once(tuple(self._incidents)),
            marks=tuple(self._marks),
            sources=tuple(sorted(self._sources)),
            limit_ms=self._limit_ms,
            missed=self._missed,
            tool=__version__,
            asked_profile=self._start.asked_profile,
        )

    def record(self) -> Watch:
        """The watch as a capture keeps it."""
        began = self._start.began.astimezone(UTC)
        return Watch(
            began_at=began.isoformat(timespec="seconds").replace("+00:00", "Z"),
            lasted_ms=self.now_ms(),
            sources=tuple(sorted(self._sources)),
            limit_ms=self._limit_ms,
            watched=tuple(sorted(self._locations)),
            events=tuple(self._events),
            marks=tuple(self._marks),
            missed=self._missed,
            slept=self._state.slept,
        )

    @property
    def was_eventful(self) -> bool:
        """Whether anything happened to the unit's own devices."""
        return any(concerns_the_unit(one) for one in self._incidents)


def concerns_the_unit(incident: Incident) -> bool:
    """Whether it is about an expected device, or about what firmware or the capture says is the unit's own."""
    return bool(incident.devices) or not (incident.outside or incident.unplaced)


def _watched(profile: Profile, seen: Iterable[Seen], stood: Iterable[Stood]) -> Collection[str]:
    """Locations at which an absence would be noticed: of what is there, and of what is expected."""
    there = {one.location for one in seen if one.bus in ABSENCE_TOLD}
    read = {one.location for one in stood if one.bus != "drm"}
    expected = {
        place
        for device in profile.devices
        for place in device.locations
        if bus_of(place) in ABSENCE_TOLD or (device.function in _READ and any(hangs_on(one, place) for one in read))
    }
    return there | read | expected


def _at_capture(capture: Capture, seen: Iterable[Seen]) -> list[Seen]:
    """What was there when the capture was taken, as far as a look can tell that it has left since."""
    before = [
        Seen(
            bus=node.bus,
            location=node.location,
            name=node.name,
            identity=node.identity,
            speed_kbps=int(node.facts.get("speed_kbps", 0)),
        )
        for node in capture.nodes
        if node.bus == "usb" and node.kind is Kind.DEVICE and "#" not in node.location
    ]
    return [*before, *(replace(one, entry=0) for one in seen if one.bus != "usb")]


def _peers(capture: Capture) -> dict[str, str]:
    """By location of a USB port, that of the other half of its connector."""
    ports = ((node.location, node.facts.get("peer")) for node in capture.nodes if node.bus == "usb-port")
    return {location: peer for location, peer in ports if isinstance(peer, str)}
