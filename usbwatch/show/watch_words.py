"""One incident of a live watch in words: what happened, to whom, for how long, and what they share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from usbwatch.compare.durations import lasted, lasted_between
from usbwatch.model import Change, Condition, Incident, PartKind, Profile, WatchEvent
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.words import listed

__all__ = [
    "CONDITION_SIGNS",
    "CONDITION_STYLES",
    "CONDITION_WORDS",
    "STATE_COLUMN",
    "at_clock",
    "by_kind",
    "event_line",
    "incident_mark",
    "names_of",
    "own_link_words",
    "page_sentence",
    "sentence_of",
    "shared_words",
    "short_sentence",
]

CONDITION_SIGNS = {
    Condition.PRESENT: "✓",
    Condition.GONE: "✗",
    Condition.SLOW: "!",
    Condition.FAILED: "!",
    Condition.OVER_CURRENT: "!",
    Condition.MUTE: "!",
    Condition.UNDRIVEN: "!",
    Condition.OFFLINE: "·",
    Condition.NOT_WATCHED: "?",
}
CONDITION_WORDS = {
    Condition.PRESENT: "present",
    Condition.GONE: "GONE",
    Condition.SLOW: "SLOW",
    Condition.FAILED: "FAILED",
    Condition.OVER_CURRENT: "OVER-CURRENT",
    Condition.MUTE: "MUTE",
    Condition.UNDRIVEN: "NO DRIVER",
    Condition.OFFLINE: "no mains",
    Condition.NOT_WATCHED: "not watched",
}
CONDITION_STYLES = {
    condition: Style.FINE
    if condition is Condition.PRESENT
    else Style.PLAIN
    if condition is Condition.OFFLINE
    else Style.UNSEEN
    if condition is Condition.NOT_WATCHED
    else Style.WRONG
    for condition in Condition
}

STATE_COLUMN = 15
"""Columns that a sign and the longest word of a state take, with a gap after them."""

_MARKS = {
    Change.GONE: ("✗ GONE", Style.WRONG),
    Change.BACK: ("✓ back", Style.FINE),
    Change.CAME: ("✓ came", Style.FINE),
    Change.SLOWER: ("! SLOWER", Style.WRONG),
    Change.FASTER: ("✓ up to speed", Style.FINE),
    Change.FAILED: ("! FAILED", Style.WRONG),
    Change.OVER_CURRENT: ("! OVER-CURRENT", Style.WRONG),
    Change.RESET: ("! RESET", Style.WRONG),
    Change.UNBOUND: ("! NO DRIVER", Style.WRONG),
    Change.BOUND: ("✓ driver", Style.FINE),
    Change.MUTE: ("! MUTE", Style.WRONG),
    Change.TALKING: ("✓ talks", Style.FINE),
    Change.OFFLINE: ("· mains off", Style.STRONG),
    Change.ONLINE: ("✓ mains on", Style.FINE),
}

_VERBS = {
    Change.GONE: ("left", "left together"),
    Change.BACK: ("came back", "came back"),
    Change.CAME: ("came", "came"),
    Change.SLOWER: ("fell back", "fell back together"),
    Change.FASTER: ("is up to speed", "are up to speed"),
    Change.FAILED: ("failed to enumerate", "failed to enumerate together"),
    Change.OVER_CURRENT: ("has over-current at its port", "have over-current at their ports"),
    Change.RESET: ("was reset by the kernel", "were reset by the kernel together"),
    Change.UNBOUND: ("lost its driver", "lost their drivers together"),
    Change.BOUND: ("is held by its driver again", "are held by their drivers again"),
    Change.MUTE: ("stopped talking", "stopped talking together"),
    Change.TALKING: ("talks again", "talk again"),
    Change.OFFLINE: ("sees no mains any more", "see no mains any more"),
    Change.ONLINE: ("sees mains", "see mains"),
}

_NAME = 60
_MOST_NAMES = 8
_MOST_SHARED = 3

_NEAREST = (PartKind.LINK, PartKind.RAIL, PartKind.SECTION)
"""What is named first of what is shared: a link can be opened and seated again at once."""


def at_clock(began: datetime, at_ms: int) -> str:
    """The time of day of a moment of the watch: "14:05:12"."""
    return f"{began + timedelta(milliseconds=at_ms):%H:%M:%S}"


def event_line(incident: Incident, profile: Profile, began: datetime) -> Line:
    """One incident as one line, for a pipe or a log; it is not to be wrapped.

    Time of day, seconds since the watch began, what happened in a fixed column, and the sentence.
    """
    mark, style = incident_mark(incident)
    return line(
        f"{at_clock(began, incident.at_ms)}  +{incident.at_ms / 1000:.3f}s  ",
        (mark.ljust(STATE_COLUMN), style),
        sentence_of(incident, profile),
        hang=STATE_COLUMN,
    )


def incident_mark(incident: Incident) -> tuple[str, Style]:
    """Sign and word of what happened; a helper device's comings and goings are no news about the unit."""
    mark, style = _MARKS[incident.change]
    return (f"· {mark[2:].lower()}", Style.PLAIN) if incident.outside or incident.unplaced else (mark, style)


def sentence_of(incident: Incident, profile: Profile) -> str:
    """The incident in full: who, what, for how long, and what those concerned share."""
    said = [_told(incident, profile, places=True), *_shared(incident, profile)]
    if incident.instead_of:
        said.append("told again, for the hub behind it left, too")
    late = max((event.unseen_ms for event in incident.events), default=0)
    return "; ".join([*said, *([f"noticed by looking, up to {lasted(late)} late"] if late else [])])


def short_sentence(incident: Incident, profile: Profile) -> str:
    """Who and what alone, with the one thing shared that is named first."""
    named = [part for part in by_kind(incident.shared, profile) if part not in _heads(incident, profile)]
    link = f"; all need {names_of(named[:1], profile)}" if named else ""
    return _told(incident, profile) + link


def page_sentence(incident: Incident, profile: Profile) -> str:
    """Who, what and what they share, without the places, which the rows of the page need no line for."""
    return "; ".join([_told(incident, profile), *_shared(incident, profile)])


def _told(incident: Incident, profile: Profile, *, places: bool = False) -> str:
    return " ".join([_happened(incident, profile, places=places), *_figures(incident)])


def _happened(incident: Incident, profile: Profile, *, places: bool) -> str:
    verb = _VERBS[incident.change]
    heads = _heads(incident, profile)
    if incident.head:
        first = names_of(heads, profile) or _node_names(_at_head(incident))
        others = [device for device in incident.devices if device not in heads]
        took = names_of(others, profile) or _node_names(
            event for event in incident.events if event.location != incident.head
        )
        port = f" (port {safe(incident.head, 120)})" if places else ""
        return f"{first} left{port}" + (f" and took {took} with it" if took else "")
    if incident.devices:
        return f"{names_of(incident.devices, profile)} {verb[len(incident.devices) > 1]}"
    whose = "Helper device" if incident.outside else "Not in the profile:"
    where = listed(list(dict.fromkeys(safe(event.location, 120) for event in incident.events))[:_MOST_NAMES])
    return f"{whose} {_node_names(incident.events)} {verb[len(incident.events) > 1]}" + (
        f" ({where})" if places else ""
    )


def _heads(incident: Incident, profile: Profile) -> tuple[str, ...]:
    """The expected devices that sit at the head's place."""
    at = {device.id for device in profile.devices if incident.head and incident.head in device.locations}
    return tuple(device for device in incident.devices if device in at)


def _at_head(incident: Incident) -> Iterable[WatchEvent]:
    return (event for event in incident.events if event.location == incident.head)


def _node_names(events: Iterable[WatchEvent]) -> str:
    names = [
        safe(event.name.strip(), _NAME) + (f" ({safe(event.identity, _NAME)})" if event.identity else "")
        for event in events
    ]
    shown = list(dict.fromkeys(name.strip() or "a nameless device" for name in names))
    return _some(shown)


def names_of(ids: Sequence[str], profile: Profile) -> str:
    """The names of devices or parts as a phrase; of many the first, and how many more."""
    known = {one.id: one.name for one in profile.devices} | {part.id: part.name for part in profile.parts}
    return _some([safe(known.get(one, one), _NAME) for one in ids])


def _some(names: list[str]) -> str:
    if len(names) <= _MOST_NAMES:
        return listed(names)
    return f"{', '.join(names[:_MOST_NAMES])} and {len(names) - _MOST_NAMES} more"


def _figures(incident: Incident) -> list[str]:
    away = [event.away_ms for event in incident.events if event.away_ms]
    if incident.change in (Change.BACK, Change.ONLINE) and away:
        return [f"after {lasted_between(min(away), max(away))}"]
    speeds = dict.fromkeys((event.was_kbps, event.speed_kbps) for event in incident.events)
    if incident.change in (Change.SLOWER, Change.FASTER):
        told = [f"from {_speed(was)} to {_speed(now)}" for was, now in speeds if was and now]
        return [listed(told)] if told else []
    errors = sorted({event.errno for event in incident.events if event.errno})
    return [f"with error {listed([str(one) for one in errors])}"] if errors else []


def _speed(kbps: int) -> str:
    return f"{kbps / 1000:g} Mbit/s"


def _shared(incident: Incident, profile: Profile) -> list[str]:
    if len(incident.devices) > 1:
        return [shared_words(incident, profile)] if incident.change in _TOGETHER else []
    link = own_link_words(incident, profile, so_far=True)
    return [link] if link else []


def own_link_words(incident: Incident, profile: Profile, *, so_far: bool = False) -> str:
    """The nearest link of a single device, and who stayed on it; "" where the profile names none.

    ``so_far``: as it is told live, when nobody knows yet what leaves next.
    """
    if not incident.own_link:
        return ""
    stayed = names_of(incident.stayed_on_link, profile)
    needs = "need" if len(incident.stayed_on_link) > 1 else "needs"
    has = "have not left so far" if len(incident.stayed_on_link) > 1 else "has not left so far"
    on_it = f" ({stayed}, which {needs} it too, {has if so_far else 'stayed'})" if stayed else ""
    return f"its link: {names_of((incident.own_link,), profile)}{on_it}"


_TOGETHER = frozenset(
    {Change.GONE, Change.SLOWER, Change.FAILED, Change.OVER_CURRENT, Change.RESET, Change.UNBOUND, Change.MUTE}
)


def shared_words(incident: Incident, profile: Profile) -> str:
    """What all of those concerned need and nothing that stayed needs, or that the profile names no such thing."""
    heads = _heads(incident, profile)
    rest = [one for one in by_kind(incident.shared, profile) if one not in heads]
    more = f" and {len(rest) - _MOST_SHARED} more" if len(rest) > _MOST_SHARED else ""
    named = ", ".join(names_of((one,), profile) for one in rest[:_MOST_SHARED]) + more
    if heads:
        carrier = names_of((incident.carrier,), profile) if incident.carrier else "the host"
        over = f", over {named}" if named else ""
        return f"the line they share: {carrier} to {names_of(heads, profile)}{over}"
    if not named:
        return "the profile names nothing that all of them need and nothing that stayed needs"
    return f"all of them need, and nothing that stayed does: {named}"


def by_kind(ids: Sequence[str], profile: Profile) -> list[str]:
    """Links first, then rails, sections and devices; each nearest to the lost ones first."""
    kinds = {part.id: part.kind for part in profile.parts}
    ranks = {kind: rank for rank, kind in enumerate(_NEAREST)}
    return sorted(ids, key=lambda one: ranks.get(kinds.get(one, PartKind.SUBASSEMBLY), len(_NEAREST)))
