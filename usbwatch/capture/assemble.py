"""The nodes of all buses put together into one picture.

What the kernel made of a device (an input node, a sound card) hangs on it and
is its proof of work: it lifts the device's rung and lends it its functions.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from typing import Dict, Iterable, Iterator, List, Optional, Tuple

from usbwatch.capture.functions import union
from usbwatch.model import Kind, Node, Rung

__all__ = ["assembled"]

_DECLARED_ALONE = frozenset({"lid", "power-button"})
"""Functions whose node the kernel makes from firmware's declaration, whether or not a switch is there."""


def assembled(nodes: Iterable[Node]) -> Tuple[Node, ...]:
    """The nodes sorted by location and bus, each with a place of its own, rungs and functions lifted."""
    by_place: Dict[str, List[Node]] = {}
    for node in _distinct(nodes):
        by_place.setdefault(node.location, []).append(node)
    gathered: Dict[Tuple[str, str], List[Node]] = {}
    for place, same_place in by_place.items():
        by_place[place] = [_gathered(node, _carrier(node, by_place), gathered) for node in same_place]
    lifted = (_lifted(node, gathered.get((node.bus, node.location), [])) for same in by_place.values() for node in same)
    return tuple(sorted(lifted, key=lambda node: (node.location, node.bus)))


_STAND_ALONE = frozenset({"hwmon", "iio"})
"""Buses whose nodes are the part itself where no device of another bus carries them: a sensor hub has none."""


def _gathered(node: Node, carrier: Optional[Node], signs: Dict[Tuple[str, str], List[Node]]) -> Node:
    """``node``, noted among the signs of life of what carries it; a device where nothing but a controller does."""
    if carrier is not None:
        signs.setdefault((carrier.bus, carrier.location), []).append(node)
    alone = carrier is None or carrier.kind is not Kind.DEVICE
    return replace(node, kind=Kind.DEVICE) if alone and node.bus in _STAND_ALONE and node.functions else node


def _distinct(nodes: Iterable[Node]) -> List[Node]:
    """Nodes that share bus and location told apart by content, never by the order they came in."""
    groups: Dict[Tuple[str, str], List[Node]] = {}
    for node in nodes:
        groups.setdefault((node.bus, node.location), []).append(node)
    taken = set(groups)
    distinct: List[Node] = []
    for group in groups.values():
        if len(group) == 1:
            distinct.append(group[0])
            continue
        group.sort(key=lambda node: (node.identity, node.name, sorted(node.facts.items(), key=str)))
        distinct.append(group[0])
        numbers = _numbered(group[0].location)
        for node in group[1:]:
            free = next(place for place in numbers if (node.bus, place) not in taken)
            taken.add((node.bus, free))
            distinct.append(replace(node, location=free))
    return distinct


def _numbered(location: str) -> Iterator[str]:
    return (f"{location}#{number}" for number in count(2))


def _carrier(node: Node, by_place: Dict[str, List[Node]]) -> Optional[Node]:
    """The device that ``node`` is a sign of life of, if it is one."""
    if node.kind not in (Kind.FUNCTION, Kind.PORT, Kind.INFRASTRUCTURE, Kind.DEVICE):
        return None
    place = node.location.partition("#")[0]
    while place:
        place = place[: max(place.rfind("/"), place.rfind("."), 0)]
        for other in by_place.get(place, ()):
            if _carries(other, node):
                return other
    return None


def _carries(other: Node, node: Node) -> bool:
    """Whether ``node`` would not be there unless ``other`` did its work."""
    if other.kind not in (Kind.DEVICE, Kind.INFRASTRUCTURE) or other.bus in ("drm", "block"):
        return False
    if node.bus == other.bus or _proves_nothing(node, other):
        return False
    return node.kind is Kind.FUNCTION or (node.kind, other.bus) != (Kind.DEVICE, "acpi")


def _proves_nothing(node: Node, other: Node) -> bool:
    """Whether ``node`` would be there although ``other`` did nothing that it is for."""
    if node.bus == "soundwire":  # a link is made by its driver, a peripheral by firmware's word
        return node.kind is Kind.INFRASTRUCTURE or not node.rung.reaches(Rung.ADDRESSED)
    return node.bus == "backlight" or (node.bus == "hwmon" and "fan" not in other.functions)


def _lifted(node: Node, signs: List[Node]) -> Node:
    """``node`` with the highest rung and all the functions of its signs of life."""
    if not signs or node.kind not in (Kind.DEVICE, Kind.INFRASTRUCTURE):
        return node
    own = [sign for sign in signs if sign.kind is Kind.FUNCTION and sign.bus != "rfkill"]
    functions = union([*node.functions, *(function for sign in own for function in sign.functions)])
    if node.kind is Kind.INFRASTRUCTURE:
        functions = node.functions
    if any(sign.bus == "mmc" and "disk" in sign.functions for sign in signs):
        # A host of soldered memory has the class code of a card reader (pci.ids 0805).
        node, functions = replace(node, kind=Kind.INFRASTRUCTURE), ()
    if set(functions) & _DECLARED_ALONE and node.bus == "acpi":
        return node
    dead = [sign for sign in signs if sign.bus == "nvme" and not sign.rung.reaches(Rung.WORKING)]
    best = max((_proof(sign) for sign in dead or signs), key=lambda rung: rung.height)
    rung = best if best.reaches(node.rung) else node.rung
    if rung is node.rung and functions == node.functions:
        return node
    return replace(node, rung=rung, functions=functions)


def _proof(sign: Node) -> Rung:
    """How far a sign of life proves its device to have got: a place to plug into is a hub at work."""
    if sign.kind in (Kind.PORT, Kind.INFRASTRUCTURE, Kind.DEVICE):
        return Rung.WORKING
    return Rung.BOUND if sign.rung is Rung.IDENTIFIED else sign.rung
