"""What watching a unit came to: in one phrase for a line of history, and as a section of a page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from usbwatch.compare.durations import MARK_NEAR_MS, lasted
from usbwatch.compare.grouping import LONGEST_MS, TEARDOWN_MS
from usbwatch.compare.incidents import incidents, told_once
from usbwatch.model import Capture, Findings, Incident, Mark, Profile, Verdict, Watch, Watched
from usbwatch.show.checked import Checked
from usbwatch.show.json_values import Json, plain_value
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading
from usbwatch.show.watch_marks import around_mark
from usbwatch.show.words import counted, listed

__all__ = ["mark_words", "watch_lines", "watched_in_short", "watches_value"]

_NAMED = 4
"""Devices that are named of those that fared alike."""
_MOST_GROUPS = 4
_MOST_MARKS = 8
_SHOWN_TEXT = 120


def watched_in_short(capture: Capture, findings: Findings | None, profile: Profile) -> str:
    """All watches of a capture in one phrase: "watched 4 min: Keyboard and Touchpad left 7 times"; "" without one."""
    if not capture.watches:
        return ""
    stretch = lasted(sum(watch.lasted_ms for watch in capture.watches))
    if findings is None or findings.other_model:
        count = sum(len(watch.events) for watch in capture.watches)
        return f"watched {stretch}: {counted(count, 'event')}, not judged"
    names = {device.id: safe(device.name, 60) for device in profile.devices}
    told = {one.device: one.watched for one in findings.findings if one.watched is not None}
    said = [*_by_count(told, names)]
    return f"watched {stretch}: {'; '.join(said) or 'no expected device was seen to leave'}"


def _by_count(told: Mapping[str, Watched], names: Mapping[str, str]) -> Iterator[str]:
    """Devices by what happened to them and how often, the most frequent first."""
    for field, verb in (
        ("left", "left"),
        ("fallbacks", "fell back to a lower speed"),
        ("failures", "failed to enumerate"),
        ("anew", "left and came back with all else, or after a sleep,"),
    ):
        groups: dict[int, list[str]] = {}
        for id_, one in told.items():
            groups.setdefault(getattr(one, field), []).append(names.get(id_, id_))
        for count in sorted(groups.keys() - {0}, reverse=True):
            devices = groups[count]
            more = [f"{len(devices) - _NAMED} more"] if len(devices) > _NAMED else []
            yield f"{listed([*devices[:_NAMED], *more])} {verb} {'once' if count == 1 else f'{count} times'}"


def watch_lines(checked: Checked) -> list[Line]:
    """The section of a page: what it came to, the marks with what left right after them, and what it cannot tell.

    The capture has at least one watch.
    """
    capture = checked.capture
    told = watched_in_short(capture, checked.findings, checked.profile)
    marks = [(watch, mark) for watch in capture.watches for mark in watch.marks]
    rows = [line("  ", said, hang=4) for said in _marks_told(marks[:_MOST_MARKS], checked)]
    more = (
        [line("  ", f"and {counted(len(marks) - _MOST_MARKS, 'more mark')}", hang=4)]
        if len(marks) > _MOST_MARKS
        else []
    )
    return [
        *heading("While it was watched"),
        line("  ", f"{told[:1].upper()}{told[1:]}", hang=4),
        *(line("  ", said, hang=4) for said in _groups(checked)),
        *rows,
        *more,
        *(line("  ", (said, Style.FAINT), hang=4) for said in _limits(capture.watches)),
    ]


def _groups(checked: Checked) -> Iterator[str]:
    """Which devices left in the same moments, and which stayed although a departure would have shown."""
    names = {device.id: safe(device.name, 60) for device in checked.profile.devices}
    told = {one.device: one.watched for one in checked.findings.findings if one.watched is not None}
    groups: dict[frozenset[str], None] = {}
    for id_, one in told.items():
        if one.together:
            groups[frozenset((id_, *one.together))] = None
    for group in list(groups)[:_MOST_GROUPS]:
        yield f"In the same moments: {listed([name for id_, name in names.items() if id_ in group])}"
    yield from _with_carriers(told, names)
    quiet = ("left", "anew", "with_carrier", "fallbacks", "failures", "came")
    there = {one.device for one in checked.findings.findings if one.verdict is not Verdict.MISSING}
    stayed = [
        names[id_]
        for id_, one in told.items()
        if id_ in there and one.tells and not any(getattr(one, each) for each in quiet)
    ]
    if stayed:
        yield f"Stayed throughout: {listed(stayed)}"


def _with_carriers(told: Mapping[str, Watched], names: Mapping[str, str]) -> Iterator[str]:
    """What left with the hub that it hangs on, besides what is counted as its own."""
    groups: dict[tuple[str, int], list[str]] = {}
    for id_, one in told.items():
        if one.with_carrier:
            groups.setdefault((one.carrier, one.with_carrier), []).append(names.get(id_, id_))
    for (carrier, count), devices in list(groups.items())[:_MOST_GROUPS]:
        often = "once" if count == 1 else f"{count} times"
        yield f"And {often} with {names.get(carrier, carrier)}, counted there: {listed(devices)}"


def _limits(watches: Sequence[Watch]) -> Iterator[str]:
    """What the watching could not see, or not tell."""
    limit_ms = max(watch.limit_ms for watch in watches)
    if limit_ms:
        yield f"An absence shorter than {limit_ms / 1000:g} s may have passed unseen."
    if any(watch.missed for watch in watches):
        yield "The kernel dropped news in the course of it, so that more may have happened."
    if not any(watch.marks for watch in watches):
        yield "No mark was made: whether anything was moved is not known, and what stayed may not have been tried."


def _marks_told(marks: Sequence[tuple[Watch, Mark]], checked: Checked) -> Iterator[str]:
    told: dict[int, tuple[Incident, ...]] = {}
    for watch, mark in marks:
        if id(watch) not in told:
            told[id(watch)] = _incidents_near(watch, [one for its, one in marks if its is watch], checked)
        yield f"{mark_words(mark)}: {around_mark(mark, told[id(watch)], checked.profile)}"


def _incidents_near(watch: Watch, marks: Sequence[Mark], checked: Checked) -> tuple[Incident, ...]:
    """What happened around the marks that are shown: a watch can have very many events."""
    reach = MARK_NEAR_MS + LONGEST_MS + TEARDOWN_MS
    near = tuple(one for one in watch.events if any(abs(one.at_ms - mark.at_ms) <= reach for mark in marks))
    told = told_once(incidents(replace(watch, events=near), checked.capture, checked.profile))
    return tuple(sorted(told, key=lambda one: one.at_ms))


def mark_words(mark: Mark) -> str:
    """A mark with its time in the watch: "1:20 marked “lid moved”"."""
    minutes, seconds = divmod(mark.at_ms // 1000, 60)
    text = safe(mark.text.strip(), _SHOWN_TEXT)
    return f"{minutes}:{seconds:02} marked" + (f" “{text}”" if text else "")


def watches_value(capture: Capture) -> Json:
    """The watches for a JSON document, their events counted: the capture itself has them one by one."""
    return [
        {
            "began_at": plain_value(watch.began_at),
            "lasted_ms": watch.lasted_ms,
            "sources": plain_value(watch.sources),
            "limit_ms": watch.limit_ms,
            "missed": watch.missed,
            "places": len(watch.watched),
            "events": len(watch.events),
            "marks": plain_value(watch.marks),
        }
        for watch in capture.watches
    ]
