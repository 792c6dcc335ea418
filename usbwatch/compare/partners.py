"""Which node of one capture is which of another.

What stayed in its place is settled first: a part that failed to tell its
identity is still that part, and no helper device with the same identity in a
socket may stand for it. Of what is left, an identity seen elsewhere on the
bus has moved, but for what firmware says is fixed in the unit and a twin of it
that can be pulled out again: those are two. A place with another identity had
its part replaced, and what hangs on something that moved went with it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping

from usbwatch.compare.assignment import assign
from usbwatch.model import Kind, Node

__all__ = ["Key", "beyond", "partners", "stayed"]

Key = tuple[str, str]
"""``(bus, location)``: what names a node in its capture."""

_Seats = tuple[dict[str, str], dict[str, str]]
"""Of either capture, what ``_seats`` says."""

_UNMATCHED = 1_000_000
_REPLACED = 700_000
_MOST_HOPS = 9
"""Costs; a move costs the hops in which its two locations differ, up to ``_MOST_HOPS``.

Two replacements together save less than one move, so none is broken up for
them; among equal numbers of moves the most replacements win, then the nearest
places.
"""

_MOST_CANDIDATES = 4_000
"""Of more pairs than this on one bus no move is sought: no unit has so many alike that all left their places."""

_LONGEST_CHAIN = 40
"""Hops that a location is followed back. PCI, USB and ACPI together nest less deep (from memory, no source)."""


def partners(
    before: Mapping[Key, Node], after: Mapping[Key, Node], *, comparable: Callable[[str], bool]
) -> list[tuple[Node | None, Node | None]]:
    """Every node of both captures once: with its partner, or alone.

    ``comparable`` says of a bus whether both captures saw all of it; where
    not, nothing moves, for what is missed may still be in its place. The same
    pairs come out whichever capture is called *before*.
    """
    olds, news = dict(before), dict(after)
    seats = _seats(before), _seats(after)
    here = sorted(key for key in olds.keys() & news.keys() if stayed(olds[key], news[key]))
    pairs = [(olds.pop(key), news.pop(key)) for key in here]
    for bus in sorted({bus for bus, _ in olds} & {bus for bus, _ in news}):
        for old, new in _best_pairs(_on(bus, olds), _on(bus, news), seats if comparable(bus) else None):
            pairs.append((olds.pop((bus, old)), news.pop((bus, new))))
    for old_key, new_key in _carried_along(pairs, olds, news):
        pairs.append((olds.pop(old_key), news.pop(new_key)))
    return [*pairs, *((node, None) for node in olds.values()), *((None, node) for node in news.values())]


def stayed(old: Node, new: Node) -> bool:
    """Whether two nodes in one place are the same, also when one did not tell what it is."""
    return old.identity == new.identity or not old.identity or not new.identity


def beyond(location: str) -> Iterator[str]:
    """The locations that ``location`` hangs on, nearest first."""
    for _ in range(_LONGEST_CHAIN):
        location = location[: max(location.rfind("/"), location.rfind("."), 0)]
        if not location:
            return
        yield location


def _on(bus: str, nodes: Mapping[Key, Node]) -> dict[str, Node]:
    return {location: node for (on, location), node in nodes.items() if on == bus}


def _seats(nodes: Mapping[Key, Node]) -> dict[str, str]:
    """By location of a USB device, whether firmware says that it is ``fixed`` or ``removable`` (sysfs-bus-usb)."""
    told = ((location, str(node.facts.get("removable", ""))) for (_, location), node in nodes.items())
    return {location: seat for location, seat in told if seat in ("fixed", "removable")}


def _seat(location: str, seats: Mapping[str, str]) -> str:
    """Whether a node, or the nearest device that it hangs on, is fixed or removable; "" where nobody knows."""
    return next((seats[one] for one in (location, *beyond(location)) if one in seats), "")


def _best_pairs(olds: dict[str, Node], news: dict[str, Node], seats: _Seats | None) -> list[tuple[str, str]]:
    """Locations on one bus that belong together, among nodes that did not stay; without ``seats`` nothing moves.

    The side that sorts first is always the left one, so that equal totals are
    decided alike whichever capture came first.
    """
    if _names(news) < _names(olds):
        turned = seats[::-1] if seats else None
        return [(old, new) for new, old in _best_pairs(news, olds, turned)]
    costs = {(place, place): _REPLACED for place in olds.keys() & news.keys()}
    if seats is not None:
        costs.update(_moves(olds, news, seats))
    return list(assign(costs, unmatched=_UNMATCHED).items())


def _names(nodes: dict[str, Node]) -> list[tuple[str, ...]]:
    return sorted((place, *_thing(node)) for place, node in nodes.items())


def _moves(olds: dict[str, Node], news: dict[str, Node], seats: _Seats) -> dict[tuple[str, str], int]:
    """The cost of each pair that can be one thing in two places."""
    places: dict[tuple[str, ...], list[str]] = {}
    for place, node in news.items():
        places.setdefault(_thing(node), []).append(place)
    candidates = {
        place: places.get(_thing(node), [])
        for place, node in olds.items()
        if node.identity and node.kind is not Kind.INTERFACE
    }
    if sum(len(found) for found in candidates.values()) > _MOST_CANDIDATES:
        return {}
    pairs = ((old, new) for old, found in candidates.items() for new in found)
    return {(old, new): _hops_apart(old, new) for old, new in pairs if _may_be_one(old, new, seats)}


def _may_be_one(old: str, new: str, seats: _Seats) -> bool:
    """Whether not one of the two is fixed in the unit, and the other can be pulled out of it."""
    return {_seat(old, seats[0]), _seat(new, seats[1])} != {"fixed", "removable"}


def _thing(node: Node) -> tuple[str, str, str]:
    """What two nodes in different places must share to be the same.

    What the kernel made of a device may carry the device's identity, several
    times over, so its name counts too. (An interface's identity is its class,
    which is none, so an interface moves only with its device.)
    """
    return node.kind.value, node.identity, node.name if node.kind is Kind.FUNCTION else ""


def _hops_apart(one: str, other: str) -> int:
    hops: list[str] = re.split(r"[/.]", one)
    others: list[str] = re.split(r"[/.]", other)
    differing = sum(hop != another for hop, another in zip(hops, others, strict=False))
    return min(differing + abs(len(hops) - len(others)), _MOST_HOPS)


def _carried_along(
    pairs: list[tuple[Node, Node]], olds: Mapping[Key, Node], news: Mapping[Key, Node]
) -> list[tuple[Key, Key]]:
    """Nodes that went where what they hang on went: at the same place beyond it, on the same bus."""
    moved = {(old.location, new.location) for old, new in pairs if old.location != new.location}
    sources, targets = Counter(old for old, _ in moved), Counter(new for _, new in moved)
    there = {old: new for old, new in moved if sources[old] == targets[new] == 1}
    back = {new: old for old, new in there.items()}
    found = []
    for bus, location in sorted(olds):
        carrier = _nearest(location, there)
        if carrier:
            place = there[carrier] + location[len(carrier) :]
            if (bus, place) in news and _nearest(place, back) == there[carrier]:
                found.append(((bus, location), (bus, place)))
    return found


def _nearest(location: str, among: Mapping[str, str]) -> str:
    return next((place for place in beyond(location) if place in among), "")
