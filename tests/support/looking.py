"""Captures of copied trees, and short ways to ask them something."""

from __future__ import annotations

from pathlib import Path

from usbwatch.capture import CopiedTree, copied_log, take
from usbwatch.model import Capture, Coverage, Node

__all__ = ["at", "coverage_of", "look", "shown"]

XHCI = "pci0000:00/14.0"


def look(root: Path, *, taken_at: str = "2026-03-02T09:14:00Z") -> Capture:
    """The capture of a copied tree, with its own log."""
    tree = CopiedTree(str(root))
    return take(tree, taken_at=taken_at, log=copied_log(tree))


def at(capture: Capture, location: str, bus: str) -> Node:
    """The node of one bus at one place; raises KeyError when there is none."""
    for node in capture.nodes:
        if (node.location, node.bus) == (location, bus):
            return node
    raise KeyError((location, bus))


def shown(capture: Capture, location: str) -> list[str]:
    """Buses that show something exactly at one place."""
    return [node.bus for node in capture.nodes if node.location == location]


def coverage_of(capture: Capture, bus: str) -> Coverage:
    """What the capture says of one bus."""
    return next(coverage for coverage in capture.coverage if coverage.bus == bus)
