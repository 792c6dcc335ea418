"""Which nodes of one capture are devices that a profile of the unit should expect, and which are not, and why.

The front is ``census(capture)``. What counts are the nodes that
``usbwatch.compare.pairing`` can pair with an expected device. "Inside" is never
guessed: where neither firmware nor a hub says whether a port is a socket, the
device is kept and marked unsure.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass

from usbwatch.compare.clients import Asked, asked, is_client
from usbwatch.compare.declared import declarations
from usbwatch.compare.scene import Placing, Scene, scene
from usbwatch.compare.twins import twin
from usbwatch.drafting.purposes import purpose
from usbwatch.model import Capture, DeclaredState, Kind, Node, Rung, hangs_on, outward

__all__ = ["DOUBT", "Census", "LeftOut", "Resident", "Unfitted", "census"]

DOUBT = "neither firmware nor its hub says whether its port is a socket, so it may be somebody's own device"
"""Why a resident is not sure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Resident:
    """A device of the unit that a profile should expect."""

    node: Node
    """The node that stands for it: for a part that shows on several buses, the one that a profile names."""
    function: str
    """A word of ``usbwatch.model.FUNCTIONS``; "" where nothing tells what the device does."""
    evidence: str
    """What says so, as one phrase without a full stop; a guess is called one."""
    sure: bool
    """Whether something says that it is inside the unit."""
    doubt: str = ""
    """For one that is not sure: why, as one phrase."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A node that a profile should not name."""

    node: Node
    reason: str
    """As one phrase without a full stop."""
    outside: bool = False
    """It is a helper device: in a socket, or beyond something that can be taken out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfitted:
    """A part that firmware names, and of which nothing was found."""

    what: str
    function: str
    """"" where the declaration does not tell."""
    where: str
    """Location of the object, record or port that names it."""
    said_by: str
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Census:
    """What one capture holds, sorted for a profile; each by location."""

    residents: tuple[Resident, ...]
    left_out: tuple[LeftOut, ...]
    unfitted: tuple[Unfitted, ...]
    """Named by firmware, and not there: another variant's, a copied table's, or lost."""
    unseen: tuple[Unfitted, ...] = ()
    """Named by firmware, where this capture could not see."""


def census(capture: Capture, *, declared: bool = True) -> Census:
    """Every node of a capture that can stand for an expected device: kept, or left out with the reason.

    ``declared`` off spares the search for what firmware names in vain.
    """
    seen = scene(capture)
    residents, left_out = _once(seen)
    said = declarations(capture) if declared else ()
    parts = {
        state: tuple(
            Unfitted(what=one.what, function=one.function, where=one.where, said_by=one.said_by, because=one.because)
            for one in said
            if one.state in state
        )
        for state in (_NOT_THERE, _NOT_SEEN)
    }
    return Census(residents=residents, left_out=left_out, unfitted=parts[_NOT_THERE], unseen=parts[_NOT_SEEN])


_NOT_THERE = frozenset({DeclaredState.NOT_FOUND, DeclaredState.OFF})
_NOT_SEEN = frozenset({DeclaredState.NOT_SEEN})


def _once(seen: Scene) -> tuple[tuple[Resident, ...], tuple[LeftOut, ...]]:
    """Each candidate, by location: first what belongs to another one and what is helpers', then the keyboards."""
    tree = _Tree(seen)
    residents: list[Resident] = []
    left_out: list[LeftOut] = []
    for node in _candidates(seen):
        outside = seen.placing(node) is Placing.OUTSIDE
        reason = _HELPER if outside else _not_expected(node, seen, residents)
        if reason:
            left_out.append(LeftOut(node=node, reason=reason, outside=outside))
        else:
            residents.append(_resident(node, tree))
    return _without_assumed_keyboard(residents, left_out)


_HELPER = "a helper device: it is in a socket, or beyond something that can be taken out"


class _Tree:
    """What hangs on a place, found without going through the whole capture."""

    def __init__(self, seen: Scene) -> None:
        self.seen = seen
        self._nodes = [node for node in seen.capture.nodes if node.kind in (Kind.INTERFACE, Kind.FUNCTION)]
        self._nodes.sort(key=lambda node: node.location)
        self._places = [node.location for node in self._nodes]

    def signs(self, device: Node) -> Iterator[Node]:
        """Interfaces of a device, and what the kernel made of it; not what belongs to a device beyond it."""
        start = bisect_left(self._places, device.location)
        for node in self._nodes[start:]:
            if not node.location.startswith(device.location):
                return
            if hangs_on(node.location, device.location) and self._nearest(node) == device.location:
                yield node

    def _nearest(self, node: Node) -> str:
        return next((place for place in outward(node.location) if self._carries(place)), "")

    def _carries(self, place: str) -> bool:
        return any(one.kind in (Kind.DEVICE, Kind.INFRASTRUCTURE) for one in self.seen.at.get(place, ()))


def _candidates(seen: Scene) -> Iterator[Node]:
    """One node for each place at which something is that could be expected, by location."""
    for _place, nodes in sorted(seen.at.items()):
        node = next((one for one in nodes if one.kind is Kind.DEVICE), nodes[0])
        if node.rung is Rung.ABSENT:
            continue
        controller = node.kind is Kind.INFRASTRUCTURE and "usb-controller" in node.functions
        display = node.bus == "drm" and node.kind is Kind.PORT
        if node.kind is Kind.DEVICE or controller or display:
            yield node


def _not_expected(node: Node, seen: Scene, residents: list[Resident]) -> str:
    """Why a node inside the unit, or not known to be outside, is nothing that a profile names; "" where it is."""
    for rule in _RULES:
        reason = rule(node, seen, residents)
        if reason:
            return reason
    return ""


def _of_software(node: Node, _seen: Scene, _residents: list[Resident]) -> str:
    return "software made it, and no hardware stands behind it" if node.location.startswith("virtual/") else ""


def _outer_display(node: Node, _seen: Scene, _residents: list[Resident]) -> str:
    outer = node.bus == "drm" and node.kind is Kind.PORT
    return f"connector {node.name} is not of a kind used for a panel inside" if outer else ""


def _of_the_board(node: Node, _seen: Scene, _residents: list[Resident]) -> str:
    """As in ``usbwatch.compare.findings``: no profile has to name each reading of a board."""
    if node.bus in ("hwmon", "iio") and "fan" not in node.functions:
        return "a reading of a chip or hub on the board, which no profile has to name"
    return ""


def _second_power_button(node: Node, seen: Scene, _residents: list[Resident]) -> str:
    """The button of the ACPI tables themselves is the same one again (drivers/acpi/button.c)."""
    twice = node.identity == "LNXPWRBN" and any(other.identity == "PNP0C0C" for other in seen.capture.nodes)
    return "firmware names the power button as an object of its own, too" if twice else ""


def _unproven_client(node: Node, seen: Scene, _residents: list[Resident]) -> str:
    """A client is firmware's declaration until a driver holds it."""
    if is_client(node) and asked(node, seen) is not Asked.HELD:
        return "firmware declares it, and no driver holds it, so nothing shows that it is there"
    return ""


def _without_a_word(node: Node, _seen: Scene, _residents: list[Resident]) -> str:
    """A PCI function without a laptop's function serves the rest of its chip."""
    if node.bus == "pci" and not node.functions:
        return f"PCI class {node.facts.get('class', '')} is none of a part that a bench replaces or tests"
    return ""


_PARTS_OF_THEIR_OWN = frozenset({"usb", "pci", "drm", "soundwire", "acpi"})


def _part_of_another(node: Node, _seen: Scene, residents: list[Resident]) -> str:
    """A codec behind its audio controller is one device of the profile, and so is a disk behind its controller."""
    if node.bus in _PARTS_OF_THEIR_OWN:
        return ""
    carrier = next((one.node for one in reversed(residents) if hangs_on(node.location, one.node.location)), None)
    return f"the device at {carrier.location} shows it, and stands for both" if carrier is not None else ""


def _second_half(node: Node, seen: Scene, _residents: list[Resident]) -> str:
    """The SuperSpeed half of a hub is a device of its own to the kernel; it is the same part."""
    if "hub" not in node.functions or "/usb3/" not in node.location:
        return ""
    other = twin(node.location, seen.ports)
    half = any(one.bus == "usb" and "hub" in one.functions for one in seen.at.get(other, ()))
    carries = any(hangs_on(place, node.location) and nodes[0].bus == "usb" for place, nodes in seen.at.items())
    return f"it is the SuperSpeed half of the hub at {other}, and carries nothing here" if half and not carries else ""


_RULES = (
    _of_software,
    _outer_display,
    _of_the_board,
    _second_power_button,
    _unproven_client,
    _without_a_word,
    _part_of_another,
    _second_half,
)


def _resident(node: Node, tree: _Tree) -> Resident:
    function, evidence = purpose(node, tree.signs(node))
    sure = tree.seen.placing(node) is Placing.INSIDE
    return Resident(node=node, function=function, evidence=evidence, sure=sure, doubt="" if sure else DOUBT)


_ASSUMED = "the kernel assumes a keyboard on this PS/2 port without asking it, and another one is in the unit"


def _without_assumed_keyboard(
    residents: list[Resident], left_out: list[LeftOut]
) -> tuple[tuple[Resident, ...], tuple[LeftOut, ...]]:
    """A PS/2 keyboard is kept only where it is the one keyboard that is known to be inside."""
    proven = any(one.function == "keyboard" and one.sure and one.node.bus != "serio" for one in residents)
    kept: list[Resident] = []
    for one in residents:
        if proven and one.node.bus == "serio" and one.function == "keyboard":
            left_out.append(LeftOut(node=one.node, reason=_ASSUMED))
        else:
            kept.append(one)
    return tuple(kept), tuple(sorted(left_out, key=lambda one: (one.node.location, one.node.bus)))
