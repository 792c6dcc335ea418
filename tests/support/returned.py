"""A unit's baseline and its return, from the demo's captures, and captures with something different about them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from usbwatch.capture import load
from usbwatch.compare import findings, since_baseline
from usbwatch.model import (
    Capture,
    Coverage,
    CoverageState,
    DeviceSince,
    Fact,
    Fitted,
    Node,
    Profile,
    SinceBaseline,
)
from usbwatch.profile import find

__all__ = ["LARCH_13", "PACK", "REPAIRED", "RETURNED", "fitted", "of", "since", "with_facts", "with_node", "without"]

_FOLDER = Path(__file__).parents[2] / "captures"
LARCH_13 = find("fernhill-larch-13")
REPAIRED = load(str(_FOLDER / "larch-13-repaired.json"))
RETURNED = load(str(_FOLDER / "larch-13-returned.json"))
PACK = "acpi/_SB_.BAT0/power_supply"


def since(before: Capture, now: Capture, profile: Profile = LARCH_13) -> SinceBaseline:
    """The comparison of two captures, each with its own findings."""
    return since_baseline(before, findings(before, profile), now, findings(now, profile), profile)


def of(found: SinceBaseline, device: str) -> DeviceSince:
    """What became of one device, of the unit or of its board."""
    (one,) = [one for one in (*found.unit, *found.devices) if one.device == device]
    return one


def fitted(found: SinceBaseline) -> dict[str, Fitted]:
    """The answers by device."""
    return {one.device: one.fitted for one in (*found.unit, *found.devices)}


def with_node(capture: Capture, bus: str, location: str, **changed: object) -> Capture:
    """The capture with other fields of one node."""
    nodes = [(node, (node.bus, node.location) == (bus, location)) for node in capture.nodes]
    assert sum(hit for _, hit in nodes) == 1, (bus, location)
    return replace(
        capture,
        nodes=tuple(replace(node, **changed) if hit else node for node, hit in nodes),  # type: ignore[arg-type]
    )


def with_facts(capture: Capture, bus: str, location: str, facts: Mapping[str, Fact | None]) -> Capture:
    """The capture with other facts of one node; a fact of None is taken out."""
    (node,) = [node for node in capture.nodes if (node.bus, node.location) == (bus, location)]
    told = {**node.facts, **facts}
    return with_node(capture, bus, location, facts={name: fact for name, fact in told.items() if fact is not None})


def without(capture: Capture, *buses: str) -> Capture:
    """The capture of a look that these buses were closed to."""

    def closed(one: Coverage) -> Coverage:
        if one.bus not in buses:
            return one
        return Coverage(bus=one.bus, state=CoverageState.NOT_PERMITTED, why="refused", root_would_help=True)

    def kept(node: Node) -> bool:
        return {"usb-port": "usb"}.get(node.bus, node.bus) not in buses

    return replace(
        capture, coverage=tuple(closed(one) for one in capture.coverage), nodes=tuple(filter(kept, capture.nodes))
    )
