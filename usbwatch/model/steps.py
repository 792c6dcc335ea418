"""What was done to a unit between two looks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from usbwatch.model.findings import Findings

__all__ = ["Look", "Step", "StepKind"]


class StepKind(Enum):
    """A bench action that can change how the unit fares."""

    RESEAT = "reseat"
    """A link was opened, looked at, and seated again."""
    SWAP = "swap"
    """A part known to be good was put in its place, on trial."""
    FIT = "fit"
    """A part that was bought was fitted."""
    BACK = "back"
    """The part that was there first was put back in place of the one that was put in."""
    MOVE = "move"
    """What hangs on a link was moved to another connector of the unit that takes it."""
    DRAIN = "drain"
    """The unit was left without any power, adapter and battery, for a while."""
    RELOAD = "reload"
    """A device's driver was loaded, or the device was enabled or unblocked."""
    FLEX = "flex"
    """The look that follows was taken while a link was moved, warmed or cooled."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One bench action."""

    kind: StepKind
    of: str
    """Id of the part, or of the device whose software was reloaded; "" for the unit as a whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What one capture and its hand checks showed, and the steps since the look before."""

    findings: Findings
    steps: tuple[Step, ...] = ()
