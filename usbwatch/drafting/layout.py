"""Layout templates: how a laptop of one kind is usually built, as values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from usbwatch.model import HandCheck, Node, Part

__all__ = ["Layout", "Seat"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """Where devices with certain functions usually sit, and what lies on the way to them."""

    functions: tuple[str, ...]
    within: str
    """Id of the subassembly that carries them."""
    path: tuple[str, ...] = ()
    """Ids of parts on the way, from the mainboard outward, after what drives the device's bus."""
    buses: tuple[str, ...] = ()
    """Only for devices on these buses; empty: on any."""

    def takes(self, function: str, node: Node) -> bool:
        """Whether it is the seat of a device with a function that shows as ``node``."""
        return function in self.functions and (not self.buses or node.bus in self.buses)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One template. Every part and check of it is a proposal: what nothing depends on is left out of a draft."""

    id: str
    name: str
    assumes: tuple[str, ...]
    """What it takes for granted, one sentence each: what a technician has to look at first."""
    chassis_types: tuple[str, ...]
    """SMBIOS 7.4.1 chassis types, decimal, for which it is proposed."""
    parts: tuple[Part, ...]
    remarks: Mapping[str, str] = field(default_factory=dict)
    """By id of a part: what is said above it."""
    seats: tuple[Seat, ...]
    """The first one that takes a device has it; the mainboard has what none takes."""
    display_half: Seat
    """Where a device sits whose port firmware places in the display half."""
    checks: tuple[HandCheck, ...]
    """Hand checks; one whose needs are not all in the draft is left out."""
