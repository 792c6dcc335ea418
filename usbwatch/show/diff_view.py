"""What changed between two captures, by where things sit: in which subassembly, else at which controller."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from usbwatch.compare.durations import lasted
from usbwatch.model import Capture, Coverage, Kind, Node, Profile, hangs_on
from usbwatch.model.changes import (
    ChangeKind,
    Changes,
    CoverageChange,
    EpisodeChange,
    FactChange,
    NodeChange,
    WatchedChange,
)
from usbwatch.show.harness import Stub, stubs
from usbwatch.show.lines import BLANK, Line, Style, line, rule
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading, labelled, perforation, stamp, stub_heading
from usbwatch.show.words import counted, node_name, place, unit_name

__all__ = [
    "CARRIERS",
    "CHANGE_LOOKS",
    "changes_sentence",
    "diff_heading_view",
    "diff_view",
    "fact_words",
    "sits_in",
    "told_words",
]

_MARGIN = 18
"""Columns that a sign and the longest word of change take, with the gap after them."""

CHANGE_LOOKS = {
    ChangeKind.GONE: ("✗", "GONE", Style.WRONG),
    ChangeKind.REPLACED: ("≠", "REPLACED", Style.WRONG),
    ChangeKind.MOVED: ("→", "MOVED", Style.WRONG),
    ChangeKind.NEW: ("+", "NEW", Style.STRONG),
    ChangeKind.CHANGED: ("~", "CHANGED", Style.STRONG),
    ChangeKind.NOT_COMPARABLE: ("?", "not comparable", Style.UNSEEN),
}
"""Sign, word and style of each kind of change; the order of the rows within a place."""

_RANK = {kind: rank for rank, kind in enumerate(CHANGE_LOOKS)}

_FACTS = 6
"""Facts of one node that are shown; the JSON document has them all."""


def diff_heading_view(
    before: Capture, after: Capture, times: tuple[str, str], paths: tuple[str, str] = ("", "")
) -> list[Line]:
    """Which two captures are compared: unit, serial and ``times`` as they are to be read, a line each.

    Where a time is missing, ``paths`` tell the two apart.
    """
    lines = []
    for letter, capture, when, path in zip("AB", (before, after), times, paths, strict=True):
        serial = capture.unit.product_serial.strip()
        said = [f"serial {safe(serial, 40)}"] if serial else []
        said.append(f"captured {when}" if when else "time of capture not recorded")
        watched = sum(watch.lasted_ms for watch in capture.watches)
        said += [f"watched {lasted(watched)}"] if capture.watches else []
        said += [safe(path, 200)] if path and not all(times) else []
        lines.append(line((f"{letter}  ", Style.FAINT), unit_name(capture.unit), ", ", ", ".join(said), hang=3))
    nameless = [letter for letter, one in zip("AB", (before, after), strict=True) if not _model(one)]
    if len(nameless) == 1:
        note = f"{nameless[0]} gives no model, so nothing shows that both are of one unit."
        lines.append(line(("Note: ", Style.CAUTION), note, hang=6))
    return lines


def _model(capture: Capture) -> str:
    return capture.unit.sys_vendor.strip() or capture.unit.product_name.strip() or capture.unit.board_name.strip()


def diff_view(changes: Changes, width: int, profile: Profile | None = None) -> list[Line]:
    """The page for two captures; with the unit's profile, what sits in a subassembly is shown there."""
    sign, style = ("✓", Style.STAMP_FINE) if changes.none else ("~", Style.STAMP_UNSEEN)
    return [
        *stamp(changes_sentence(changes), sign, style, width),
        *_not_watched_lines(changes),
        *_unit_lines(changes),
        *_node_lines([one for one in changes.nodes if one.kind is not ChangeKind.NOT_COMPARABLE], width, profile),
        *_not_comparable_lines(changes.nodes),
        *_episode_lines(changes.episodes),
        *_watched_lines(changes.watched),
        *_coverage_lines(changes.coverage),
        *_system_lines(changes.system),
    ]


def changes_sentence(changes: Changes) -> str:
    """All changes in one sentence: "2 gone, 1 moved, 4 nodes went along"."""
    if changes.none:
        return "nothing changed"
    counts = Counter(change.kind for change in changes.nodes if not change.follows)
    said = [f"{counts[kind]} {kind.value}" for kind in CHANGE_LOOKS if counts[kind]]
    along = sum(change.follows for change in changes.nodes)
    said += [f"{counted(along, 'node')} went with them"] if along else []
    said += [f"{counted(len(changes.unit), 'string')} of firmware"] if changes.unit else []
    said += [f"{counted(len(changes.episodes), 'trouble')} in the kernel log"] if changes.episodes else []
    said += [f"{counted(len(changes.coverage), 'bus')} seen otherwise"] if changes.coverage else []
    return ", ".join(said) or f"nothing changed as far as both saw it; only {_watched_letter(changes)} was watched"


def _watched_letter(changes: Changes) -> str:
    return "A" if changes.watched_alone == "before" else "B"


def _not_watched_lines(changes: Changes) -> list[Line]:
    """That one of the two was not watched, where the other was."""
    if not changes.watched_alone:
        return []
    watched = _watched_letter(changes)
    other = "B" if watched == "A" else "A"
    left = ", and devices came and went" if changes.left_alone else ""
    said = f"{watched} was watched{left}; {other} was not, so nothing is known of what comes and goes in it."
    return [line(("Note: ", Style.CAUTION), said, hang=6)]


def _unit_lines(changes: Changes) -> list[Line]:
    note = "firmware names another machine: this is another unit, or the same one with another mainboard."
    return [
        *([line(("Note: ", Style.CAUTION), note, hang=6)] if changes.another_board else []),
        *([*heading("What firmware calls the unit"), *_fact_lines(changes.unit, 2)] if changes.unit else []),
    ]


def _node_lines(nodes: Sequence[NodeChange], width: int, profile: Profile | None) -> list[Line]:
    homes = stubs(profile) if profile else ()
    grouped: dict[int, list[NodeChange]] = {}
    elsewhere: dict[str, list[NodeChange]] = {}
    for change in nodes:
        home = next((at for at, stub in enumerate(homes) if sits_in(change, stub)), None)
        group = elsewhere.setdefault(_controller(change), []) if home is None else grouped.setdefault(home, [])
        group.append(change)
    lines: list[Line] = []
    for at, group in sorted(grouped.items()):
        lines += [BLANK, perforation(homes[at], width), *stub_heading(homes[at], "", width), *_group_lines(group)]
    for controller, group in elsewhere.items():
        title = "At" if not homes else "In no subassembly, at"
        lines += [BLANK, rule("┄", width), line((f"{title} {safe(controller, 100)}", Style.STRONG))]
        lines += _group_lines(group)
    return lines


def _not_comparable_lines(nodes: Sequence[NodeChange]) -> list[Line]:
    """What one of the two captures could not see, bus by bus: nothing is known to have changed there."""
    per_bus = Counter(change.bus for change in nodes if change.kind is ChangeKind.NOT_COMPARABLE)
    said = [f"{safe(bus, 20)} {counted(count, 'node')}" for bus, count in sorted(per_bus.items())]
    return [*heading("Not comparable, for one capture did not see it"), *labelled("? by bus", said, 0)] if said else []


def sits_in(change: NodeChange, stub: Stub) -> bool:
    """Whether the node, where it was first seen, is an expected device of the subassembly or hangs on one."""
    location = (change.before or change.node).location
    return any(
        location == expected or (hangs_on(location, expected) and device.function not in CARRIERS)
        for device in stub.devices
        for expected in device.locations
    )


CARRIERS = frozenset({"hub", "usb-controller", "graphics"})
"""What hangs on these need not sit in the same subassembly."""


def _controller(change: NodeChange) -> str:
    return "/".join(change.node.location.split("/")[:2])


def _group_lines(group: list[NodeChange]) -> list[Line]:
    lines: list[Line] = []
    for change in sorted((one for one in group if not one.follows), key=lambda one: _RANK[one.kind]):
        lines += _change_lines(change)
    return [*lines, *labelled("  with them", _along([one.node for one in group if one.follows]), 0, column=_MARGIN)]


def _along(nodes: list[Node]) -> list[str]:
    """What went along with something else: devices by name, their parts by kind and number."""
    devices = [node_name(node) for node in nodes if node.kind is Kind.DEVICE]
    kinds = Counter(node.kind.value for node in nodes if node.kind is not Kind.DEVICE)
    more = [counted(len(devices) - _FACTS, "more device")] if len(devices) > _FACTS else []
    return [*devices[:_FACTS], *more, *(counted(number, kind) for kind, number in kinds.items())]


def _change_lines(change: NodeChange) -> list[Line]:
    sign, word, style = CHANGE_LOOKS[change.kind]
    opening = (f"{sign} {word}".ljust(_MARGIN), style)
    lines = [line(opening, (node_name(change.node), Style.STRONG), hang=_MARGIN)]
    told = told_words(change)
    lines += [line(" " * _MARGIN, told, hang=_MARGIN)] if told else []
    return [*lines, *_fact_lines(change.facts, _MARGIN)]


def told_words(change: NodeChange) -> str:
    """The places and names that the kind of change is about."""
    before, after = change.before, change.after
    if change.kind is ChangeKind.MOVED and before and after:
        return f"from {safe(before.location, 120)} to {safe(after.location, 120)}"
    if change.kind is ChangeKind.REPLACED and before and after:
        return f"in place of {node_name(before)}, {place(after)}"
    return place(change.node)


def _fact_lines(facts: Sequence[FactChange], set_in: int) -> list[Line]:
    lines = [
        line(
            " " * set_in,
            (f"{safe(one.field.removeprefix('facts.'), 60)}: ", Style.FAINT),
            fact_words(one),
            hang=set_in + 2,
        )
        for one in facts[:_FACTS]
    ]
    if len(facts) > _FACTS:
        lines.append(line(" " * set_in, (f"and {counted(len(facts) - _FACTS, 'more fact')}", Style.FAINT)))
    return lines


def fact_words(one: FactChange) -> str:
    """What a fact was and is: "12 → 480", "nothing → usbhid"."""
    before, after = (_value_words(value) for value in (one.before, one.after))
    return f"{before} → {after}"


def _value_words(value: object) -> str:
    return "nothing" if value is None or value == "" else safe(str(value), 120)


def _episode_lines(episodes: Sequence[EpisodeChange]) -> list[Line]:
    if not episodes:
        return []
    lines = heading("Troubles in the kernel log")
    for one in episodes:
        sign, word, style = CHANGE_LOOKS[one.kind]
        where = safe(one.location, 120) if one.location else "at a place the log does not name"
        counts = " → ".join(counted(each.count, "line") if each else "none" for each in (one.before, one.after))
        text = f"{safe(one.trouble, 60)}, {where}: {counts}"
        lines.append(line((f"{sign} {word}".ljust(_MARGIN), style), text, hang=_MARGIN))
    return lines


_PLACES = 20
"""Places that are shown; the JSON document has them all."""


def _watched_lines(watched: Sequence[WatchedChange]) -> list[Line]:
    """Places that were left more often, or less, while they were watched."""
    if not watched:
        return []
    lines = heading("While it was watched")
    for one in watched[:_PLACES]:
        was, now = (
            f"left {_often(count)} in {lasted(stretch_ms)}"
            for count, stretch_ms in ((one.before, one.before_ms), (one.after, one.after_ms))
        )
        name = safe(one.name.strip(), 60)
        where = safe(one.location, 120)
        lines.append(line("  ", f"{name}, {where}" if name else where, f": {was} → {now}", hang=4))
    more = len(watched) - _PLACES
    return [*lines, *([line("  ", f"and {counted(more, 'more place')}", hang=4)] if more > 0 else [])]


def _often(count: int) -> str:
    return f"{count} times" if count > 1 else ("never", "once")[count]


def _coverage_lines(coverage: Sequence[CoverageChange]) -> list[Line]:
    if not coverage:
        return []
    lines = heading("Not seen equally well")
    for one in coverage:
        states = f"{_state(one.before)} → {_state(one.after)}"
        lines.append(line("  ", (safe(one.bus, 20).ljust(_MARGIN - 2), Style.UNSEEN), states, hang=_MARGIN))
    return lines


def _state(one: Coverage | None) -> str:
    return one.state.value if one else "not looked at"


def _system_lines(system: Sequence[FactChange]) -> list[Line]:
    if not system:
        return []
    return [*heading("How the looking differed, no change of the unit"), *_fact_lines(system, 2)]
