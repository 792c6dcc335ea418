"""How each expected device stands at a moment of a live watch, and how it has fared since it began.

A state that events move on. What could not be seen when the watch began, and
of which no event told since, is "not watched", never gone.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from itertools import chain

from usbwatch.compare.incidents import standing_for
from usbwatch.compare.scene import scene
from usbwatch.model import (
    Capture,
    Change,
    Condition,
    ExpectedDevice,
    Finding,
    Findings,
    Profile,
    Spell,
    Standing,
    Symptom,
    Verdict,
    WatchEvent,
    hangs_on,
)

__all__ = ["Courses", "begun_standing", "moved_standing", "standing"]

_SHORTEST_MS = 1_000
"""No rate is worked out of less: one departure in the first moment would be sixty a minute."""

_BECOMES = {
    Change.GONE: Condition.GONE,
    Change.BACK: Condition.PRESENT,
    Change.CAME: Condition.PRESENT,
    Change.SLOWER: Condition.SLOW,
    Change.FASTER: Condition.PRESENT,
    Change.FAILED: Condition.FAILED,
    Change.OVER_CURRENT: Condition.OVER_CURRENT,
    Change.UNBOUND: Condition.UNDRIVEN,
    Change.BOUND: Condition.PRESENT,
    Change.MUTE: Condition.MUTE,
    Change.TALKING: Condition.PRESENT,
    Change.OFFLINE: Condition.OFFLINE,
    Change.ONLINE: Condition.PRESENT,
}
"""How a device stands after each change; a reset leaves it as it was."""

_BLOCK = 256

_LINKED = frozenset({Change.BACK, Change.CAME, Change.FASTER})
"""Changes that tell the speed that it is linked at from now on."""

_WENT = frozenset({Condition.GONE, Condition.OFFLINE})
_AWAY = _WENT | {Condition.FAILED}
"""One that is connected and does not enumerate is no more there than one that is gone."""

_AT_FIRST = {
    Symptom.DEGRADED: Condition.SLOW,
    Symptom.FAILED: Condition.FAILED,
    Symptom.MUTE: Condition.MUTE,
    Symptom.UNDRIVEN: Condition.UNDRIVEN,
    Symptom.ABSENT: Condition.GONE,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Course:
    condition: Condition
    since_ms: int = 0
    since_before: bool = False
    why: str = ""
    times_gone: int = 0
    times_reset: int = 0
    away_from_ms: int | None = None
    """Since when it is away; None while it is not."""
    absent_ms: int = 0
    longest_ms: int = 0
    """Of the absences that are over."""
    place: str = ""
    """Where it is, "" while it is nowhere."""
    full_kbps: int = 0
    """The speed it should be linked at: what the profile asks, or the highest that was seen; 0 where none is known."""
    past: tuple[tuple[Spell, ...], ...] = ()
    """Spells that are over, in full blocks of ``_BLOCK``: so that one more does not copy all of them."""
    late: tuple[Spell, ...] = ()
    """Those after them, but the one that lasts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Courses:
    """The course of each expected device so far."""

    places: dict[str, tuple[str, ...]]
    courses: dict[str, _Course]
    """By id, in the profile's order."""


def begun_standing(
    findings: Findings, profile: Profile, watched: Collection[str], capture: Capture | None = None
) -> Courses:
    """The state at the beginning; ``watched`` are the locations that are (``Watch.watched``).

    With the capture a device is known again, too, that shows on the USB 2 half of its SuperSpeed connector.
    """
    devices = {device.id: device for device in profile.devices}
    by_id = {finding.device: finding for finding in findings.findings}
    ports = scene(capture).ports if capture is not None else {}
    unplugged = _unplugged(capture) if capture is not None else []
    return Courses(
        places=standing_for(findings, profile, ports),
        courses={
            one: _with_mains(_at_first(_with_name(by_id[one], devices), devices[one], watched), unplugged)
            for one in devices
            if one in by_id
        },
    )


def _with_name(finding: Finding, devices: dict[str, ExpectedDevice]) -> Finding:
    """The finding with the carrier that it is charged to by name."""
    carrier = devices.get(finding.charged_to)
    return replace(finding, charged_to=carrier.name) if carrier is not None else finding


def _at_first(finding: Finding, device: ExpectedDevice, watched: Collection[str]) -> _Course:
    told = finding.node.facts.get("speed_kbps", 0) if finding.node is not None else 0
    course = _Course(
        condition=Condition.PRESENT,
        place=finding.node.location if finding.node is not None else "",
        full_kbps=max((device.speed_mbps or 0) * 1000, told if isinstance(told, int) else 0),
    )
    why = _why_not_watched(finding, device.locations, watched)
    if why:
        return replace(course, condition=Condition.NOT_WATCHED, why=why)
    if finding.verdict is Verdict.MISSING:
        return replace(course, condition=Condition.GONE, since_before=True, away_from_ms=0)
    if finding.verdict is Verdict.IMPAIRED:
        condition = _AT_FIRST.get(finding.symptom, Condition.PRESENT)
        return replace(course, condition=condition, since_before=True, away_from_ms=0 if condition in _AWAY else None)
    return course


def _with_mains(course: _Course, unplugged: Collection[str]) -> _Course:
    """The same, of an adapter's detection that sees no mains as the watch begins."""
    if course.condition is not Condition.PRESENT or not any(hangs_on(place, course.place) for place in unplugged):
        return course
    return replace(course, condition=Condition.OFFLINE, since_before=True, away_from_ms=0)


def _unplugged(capture: Capture) -> list[str]:
    return [one.location for one in capture.nodes if one.bus == "power_supply" and one.facts.get("online") == 0]


def _why_not_watched(finding: Finding, locations: tuple[str, ...], watched: Collection[str]) -> str:
    places = {*locations, *([finding.node.location] if finding.node is not None else [])}
    if finding.by_hand_alone:
        return "firmware names it whatever hangs there; only a hand check tells"
    if finding.charged_to:
        return f"it hangs on {finding.charged_to}, which is not there"
    if finding.verdict is Verdict.UNSEEN:
        return finding.reasons[0] if finding.reasons else "it could not be seen"
    return "" if places & set(watched) else "nothing tells of a change at its place"


def moved_standing(state: Courses, event: WatchEvent) -> Courses:
    """The state after one more event."""
    here = state.places.get(event.location, ())
    if not here:
        return state
    moved = {device: _moved(state.courses[device], event) for device in here if device in state.courses}
    return replace(state, courses={**state.courses, **moved})


def _moved(course: _Course, event: WatchEvent) -> _Course:
    if event.change is Change.RESET:
        return replace(course, times_reset=course.times_reset + 1)
    if event.change is Change.GONE and course.place not in ("", event.location):
        return course  # it shows at the other half of its connector by now
    course = replace(
        course,
        place="" if event.change is Change.GONE else event.location,
        full_kbps=max(course.full_kbps, event.was_kbps, event.speed_kbps),
    )
    condition = _becomes(course, event)
    return course if condition is course.condition else _in(course, condition, max(event.at_ms, course.since_ms))


def _becomes(course: _Course, event: WatchEvent) -> Condition:
    """How it stands after an event; one that is there again, and slower than it was, is not well yet."""
    condition = _BECOMES[event.change]
    slow = event.change in _LINKED and 0 < event.speed_kbps < course.full_kbps
    return Condition.SLOW if slow else condition


def _in(course: _Course, condition: Condition, at_ms: int) -> _Course:
    """The course in another condition from ``at_ms`` on."""
    absence = _absence(course, at_ms)
    over = condition not in _AWAY
    late = (*course.late, Spell(condition=course.condition, from_ms=course.since_ms, to_ms=at_ms))
    full = len(late) == _BLOCK
    since_ms = at_ms if course.away_from_ms is None else course.away_from_ms
    return replace(
        course,
        condition=condition,
        since_ms=at_ms,
        since_before=False,
        why="",
        times_gone=course.times_gone + (condition in _WENT and course.condition not in _AWAY),
        away_from_ms=None if over else since_ms,
        absent_ms=course.absent_ms + (absence if over else 0),
        longest_ms=max(course.longest_ms, absence if over else 0),
        past=(*course.past, late) if full else course.past,
        late=() if full else late,
    )


def _absence(course: _Course, now_ms: int) -> int:
    """How long the absence that lasts has lasted, 0 where none does: in one condition, or in several on end."""
    return 0 if course.away_from_ms is None else now_ms - course.away_from_ms


def standing(state: Courses, now_ms: int) -> tuple[Standing, ...]:
    """How each expected device stands at ``now_ms``, in the profile's order."""
    return tuple(_standing(device, course, now_ms) for device, course in state.courses.items())


def _standing(device: str, course: _Course, now_ms: int) -> Standing:
    now_ms = max(now_ms, course.since_ms)
    spells = (
        *chain.from_iterable(course.past),
        *course.late,
        Spell(condition=course.condition, from_ms=course.since_ms, to_ms=now_ms),
    )
    absence = _absence(course, now_ms)
    return Standing(
        device=device,
        condition=course.condition,
        since_ms=course.since_ms,
        since_before=course.since_before,
        why=course.why,
        times_gone=course.times_gone,
        times_reset=course.times_reset,
        longest_ms=max(course.longest_ms, absence),
        absent_ms=course.absent_ms + absence,
        per_minute=course.times_gone * 60_000 / now_ms if now_ms >= _SHORTEST_MS else 0.0,
        spells=spells,
    )
