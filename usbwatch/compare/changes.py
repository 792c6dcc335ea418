"""What changed between two captures. An absence counts only where both captures saw the bus."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass

from usbwatch.compare.bare_list import is_bare_list
from usbwatch.compare.differences import differences, node_differences
from usbwatch.compare.following import with_follows
from usbwatch.compare.partners import Key, partners, stayed
from usbwatch.model import Capture, Change, Coverage, Episode, Kind, Node
from usbwatch.model.changes import (
    ChangeKind,
    Changes,
    CoverageChange,
    EpisodeChange,
    FactChange,
    NodeChange,
    WatchedChange,
)

__all__ = ["changes"]

_COVERED_WITH = {"usb-port": "usb"}
"""Buses of nodes that have no coverage of their own."""

_LISTED_IN_PART = frozenset({"power_supply"})
"""Buses of which a bare list shows a part: of an adapter only that it is plugged in, of several batteries their sum."""

_LOG = "log"
_UNIT_STRINGS = "dmi"
"""What coverage calls the kernel's log and firmware's strings."""


def changes(before: Capture, after: Capture) -> Changes:
    """What differs from ``before`` to ``after``, as far as both captures could see it."""
    sides = _Sides(
        before=_coverage_of(before), after=_coverage_of(after), one_listed=is_bare_list(before) != is_bare_list(after)
    )
    alone = _watched_alone(before, after)
    return Changes(
        unit=_unit_changes(before, after, sides),
        coverage=tuple(_coverage_changes(sides)),
        nodes=_node_changes(before, after, sides),
        episodes=tuple(_episode_changes(before, after, sides)),
        watched=tuple(_watched_changes(before, after)),
        watched_alone=alone,
        left_alone=_left_alone(before if alone == "before" else after) if alone else 0,
        system=differences(asdict(before.system), asdict(after.system)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sides:
    """What each capture could see, by bus."""

    before: Mapping[str, Coverage]
    after: Mapping[str, Coverage]
    one_listed: bool = False
    """Whether one of the two alone is a bare list (``usbwatch.compare.bare_list``)."""

    def comparable(self, bus: str) -> bool:
        """Whether something on ``bus`` that one capture alone has did come or go."""
        name = _COVERED_WITH.get(bus, bus)
        if self.one_listed and name in _LISTED_IN_PART:
            return False
        return all(name in side and side[name].state.seen for side in (self.before, self.after))

    def fewer_read(self, bus: str) -> int:
        """How many more files of ``bus`` the capture after could not read than the one before."""
        name = _COVERED_WITH.get(bus, bus)
        old, new = (side[name].unread if name in side else 0 for side in (self.before, self.after))
        return new - old

    def without_unread(self, bus: str, found: Iterable[FactChange]) -> tuple[FactChange, ...]:
        """The changes but for facts that a capture lacks which could read less of ``bus`` than the other."""
        fewer = self.fewer_read(bus)
        return tuple(
            change
            for change in found
            if not (change.after is None and fewer > 0) and not (change.before is None and fewer < 0)
        )


def _coverage_of(capture: Capture) -> dict[str, Coverage]:
    return {coverage.bus: coverage for coverage in capture.coverage}


def _node_changes(before: Capture, after: Capture, sides: _Sides) -> tuple[NodeChange, ...]:
    pairs = partners(_by_key(before), _by_key(after), comparable=sides.comparable)
    described = (_described(sides, old, new) for old, new in pairs)
    found = [change for change in described if change is not None]
    return tuple(sorted(with_follows(found), key=_order))


def _by_key(capture: Capture) -> dict[Key, Node]:
    return {(node.bus, node.location): node for node in capture.nodes}


def _described(sides: _Sides, old: Node | None, new: Node | None) -> NodeChange | None:
    """What became of a pair, None when nothing did."""
    if old is None:
        return _alone(sides, ChangeKind.NEW, new)
    if new is None:
        return _alone(sides, ChangeKind.GONE, old)
    if old == new:
        return None
    kind = _kind(old, new)
    facts = sides.without_unread(old.bus, node_differences(old, new))
    if kind is ChangeKind.CHANGED and not facts:
        return None
    return NodeChange(kind=kind, bus=old.bus, before=old, after=new, facts=facts)


def _alone(sides: _Sides, kind: ChangeKind, node: Node | None) -> NodeChange:
    assert node is not None, "a pair holds at least one node"
    return NodeChange(
        kind=kind if sides.comparable(node.bus) else ChangeKind.NOT_COMPARABLE,
        bus=node.bus,
        before=node if kind is ChangeKind.GONE else None,
        after=node if kind is ChangeKind.NEW else None,
    )


def _kind(old: Node, new: Node) -> ChangeKind:
    if old.location != new.location:
        return ChangeKind.MOVED
    return ChangeKind.CHANGED if stayed(old, new) else ChangeKind.REPLACED


def _order(change: NodeChange) -> tuple[list[str], str, str]:
    """Sorting key that is the same whichever capture came first."""
    nodes = [node for node in (change.before, change.after) if node is not None]
    return sorted(node.location for node in nodes), change.bus, min(node.identity for node in nodes)


def _unit_changes(before: Capture, after: Capture, sides: _Sides) -> tuple[FactChange, ...]:
    """Firmware's strings that differ; none when a capture has none at all."""
    old, new = ({name: text for name, text in asdict(one.unit).items() if text} for one in (before, after))
    return sides.without_unread(_UNIT_STRINGS, differences(old, new)) if old and new else ()


def _coverage_changes(sides: _Sides) -> Iterator[CoverageChange]:
    for bus in sorted(sides.before.keys() | sides.after.keys()):
        old, new = sides.before.get(bus), sides.after.get(bus)
        if _what_was_to_see(old) != _what_was_to_see(new):
            yield CoverageChange(bus=bus, before=old, after=new)


def _what_was_to_see(coverage: Coverage | None) -> str:
    """One word for it; an empty bus was seen as well as a full one."""
    if coverage is None:
        return "not looked at"
    return "seen" if coverage.state.seen else coverage.state.value


def _episode_changes(before: Capture, after: Capture, sides: _Sides) -> Iterator[EpisodeChange]:
    olds, news = _by_trouble(before.episodes), _by_trouble(after.episodes)
    for location, trouble in sorted(olds.keys() | news.keys()):
        old, new = olds.get((location, trouble)), news.get((location, trouble))
        kind = _episode_kind(old, new, comparable=sides.comparable(_LOG))
        if kind is not None:
            yield EpisodeChange(kind=kind, location=location, trouble=trouble, before=old, after=new)


def _by_trouble(episodes: Iterable[Episode]) -> dict[tuple[str, str], Episode]:
    return {(episode.location, episode.trouble): episode for episode in episodes}


def _episode_kind(old: Episode | None, new: Episode | None, *, comparable: bool) -> ChangeKind | None:
    """What became of an episode, None when it counts as many lines and ends in the same error."""
    if old is not None and new is not None:
        return None if (old.count, old.errno) == (new.count, new.errno) else ChangeKind.CHANGED
    if not comparable:
        return ChangeKind.NOT_COMPARABLE
    return ChangeKind.NEW if old is None else ChangeKind.GONE


def _watched_changes(before: Capture, after: Capture) -> Iterator[WatchedChange]:
    old, new = _departures(before), _departures(after)
    for place in sorted(old.keys() & new.keys()):
        (was, was_ms, name), (now, now_ms, name_now) = old[place], new[place]
        if was != now:
            yield WatchedChange(
                location=place, name=name_now or name, before=was, after=now, before_ms=was_ms, after_ms=now_ms
            )


def _watched_alone(before: Capture, after: Capture) -> str:
    if bool(before.watches) == bool(after.watches):
        return ""
    return "before" if before.watches else "after"


def _left_alone(watched: Capture) -> int:
    return sum(left for left, _, _ in _departures(watched).values())


def _departures(capture: Capture) -> dict[str, tuple[int, int, str]]:
    """By place that was watched: how often it was left or fell silent, in how much time, and what is there."""
    names = {event.location: event.name for watch in capture.watches for event in watch.events if event.name}
    names |= {node.location: node.name for node in capture.nodes if node.kind is Kind.DEVICE and node.name}
    left = Counter(
        event.location
        for watch in capture.watches
        for event in watch.events
        if event.change in (Change.GONE, Change.MUTE)
    )
    lasted: Counter[str] = Counter()
    for watch in capture.watches:
        lasted.update(dict.fromkeys(watch.watched, watch.lasted_ms))
    return {place: (left[place], lasted[place], names.get(place, "")) for place in lasted}
