"""Which node stands for which expected device: one to one, and the best over all.

The profile's location outweighs everything: a right identity elsewhere is
*moved*, and only inside the unit; a helper device in a socket stands for
nothing, whatever it says it is. A device that fell back to USB 2 shows on the
other port of its own connector, which is its place too.
"""

from __future__ import annotations

from usbwatch.compare.assignment import assign
from usbwatch.compare.scene import Placing, Scene
from usbwatch.compare.twins import twins_of
from usbwatch.model import ExpectedDevice, Kind, Node

__all__ = ["Fit", "pair"]


class Fit:
    """What each way of fitting costs; lower is better, and leaving a device unpaired costs ``UNPAIRED``.

    Two weak fits cost more than a good one and a device left unpaired, so that
    no device is talked out of its own node to find another one something.
    """

    PLACE_AND_IDENTITY = 0
    PLACE_AND_FUNCTION = 1
    AT_USB2_TWIN = 3
    FUNCTION_INSIDE = 5  # and up to 14 more, to choose between several
    PLACE_OTHER_IDENTITY = 60
    PLACE_ALONE = 70
    IDENTITY_ELSEWHERE = 80
    FUNCTION_SOMEWHERE = 90
    UNPAIRED = 100


def pair(devices: tuple[ExpectedDevice, ...], scene: Scene) -> dict[str, tuple[Node, int]]:
    """By id of the expected device: the node that stands for it, and how it fits (a cost of ``Fit``)."""
    candidates: dict[tuple[str, str], Node] = {}
    costs: dict[tuple[str, tuple[str, str]], int] = {}
    for device in devices:
        for node, cost in _candidates(device, scene):
            key = (node.location, node.bus)
            candidates[key] = node
            costs[device.id, key] = cost
    matched = assign(costs, unmatched=Fit.UNPAIRED)
    return {device: (candidates[key], costs[device, key]) for device, key in matched.items()}


def _candidates(device: ExpectedDevice, scene: Scene) -> list[tuple[Node, int]]:
    placed = [scene.at[place][0] for place in device.locations if place in scene.at]
    found = [(node, _cost_in_place(device, node)) for node in placed]
    twins = twins_of(device, scene.ports)
    there = [scene.at[place][0] for place in twins if place in scene.at]
    found += [(node, Fit.AT_USB2_TWIN) for node in there if _is_the_same(device, node)]
    for node in scene.capture.nodes:
        if node.kind is Kind.DEVICE and node.location not in (*device.locations, *twins):
            cost = _cost_elsewhere(device, node, scene)
            if cost is not None:
                found.append((node, cost))
    return found


def _is_the_same(device: ExpectedDevice, node: Node) -> bool:
    """Whether a node is the device, by identity; where the profile gives none, by function."""
    return node.identity in device.identities if device.identities else device.function in node.functions


def _cost_in_place(device: ExpectedDevice, node: Node) -> int:
    if node.identity in device.identities:
        return Fit.PLACE_AND_IDENTITY
    if device.identities and node.identity:
        return Fit.PLACE_OTHER_IDENTITY
    fits = device.function in node.functions or not node.functions
    return Fit.PLACE_AND_FUNCTION if fits else Fit.PLACE_ALONE


def _cost_elsewhere(device: ExpectedDevice, node: Node, scene: Scene) -> int | None:
    """The cost of a node that is not in the device's place, None where it cannot stand for the device."""
    by_identity = node.identity in device.identities
    by_function = not device.locations and not device.identities and device.function in node.functions
    if not (by_identity or by_function) or node.location in scene.named:
        return None
    placing = scene.placing(node)
    if placing is Placing.OUTSIDE or (placing is Placing.UNKNOWN and device.locations):
        return None
    if placing is Placing.UNKNOWN:
        return Fit.FUNCTION_SOMEWHERE
    if device.locations:
        return Fit.IDENTITY_ELSEWHERE
    # Of two that do the same: not the PS/2 port, which may be there for nothing; then the one nearer to the host.
    return Fit.FUNCTION_INSIDE + (8 if node.bus == "serio" else 0) + min(node.location.count("/"), 6)
