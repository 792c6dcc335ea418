"""What became of a unit since its baseline: which parts are still those fitted, and what its battery holds."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import NamedTuple, Optional, Tuple

from usbwatch.model.changes import Changes, FactChange, NodeChange

__all__ = ["BOARD", "UNIT", "DeviceSince", "Fitted", "Serial", "SinceBaseline", "Wear"]

UNIT = "unit"
BOARD = "board"
"""What a serial number is of, where it is of no expected device: the unit itself, and the board that firmware names."""


class Serial(NamedTuple):
    """One serial number that a capture gives."""

    of: str
    """Id of an expected device, or ``UNIT`` or ``BOARD``."""
    kind: str
    """Which number it is, in words: "battery serial number"."""
    serial: str


class Fitted(Enum):
    """Whether a part is still the one that was fitted at the baseline."""

    SAME = "same"
    """A serial number says so, and nothing speaks against it."""
    ANOTHER = "another one"
    """A serial number, or what it calls itself, differs."""
    PERHAPS_ANOTHER = "perhaps another one"
    """Nothing that names it differs, but a reading does as one part's does not."""
    GONE = "gone"
    """There at the baseline, missing now: never only "not seen now"."""
    NEW = "new"
    """Missing at the baseline, there now."""
    UNTOLD = "cannot be told"
    """The same type, without a serial number to compare; or not seen in one of the two captures."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceSince:
    """What became of one expected device, of the unit's own name, or of its board."""

    device: str
    """Id of the expected device, or ``UNIT`` or ``BOARD``."""
    fitted: Fitted
    where: str = ""
    """Location of its node, now if it has one now; "" for none."""
    told_by: Tuple[FactChange, ...] = ()
    """What differs, the most telling first; fields are words: "battery serial number", "design capacity"."""
    why: str = ""
    """What else the answer rests on, or why none can be given, as one phrase."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """What a battery pack held at the baseline and holds now."""

    device: str
    """Id of the expected device."""
    same: Optional[bool]
    """Whether it is the same pack, False also for perhaps another one; None when that cannot be told.

    Of another pack only what it holds now is given.
    """
    unit: str
    """``mAh`` or ``mWh``, as the gauge counts."""
    design: int
    """Design capacity now."""
    full_now: int
    """Last full charge capacity (ACPI 6.5 section 10.2.2.2) now."""
    full_then: Optional[int] = None
    """The same at the baseline; None for another pack, or when it was not to be read in the same unit."""
    cycles_now: Optional[int] = None
    """Cycle count now; None where none is available."""
    cycles_then: Optional[int] = None
    """The same at the baseline; None as for ``full_then``."""
    days: Optional[int] = None
    """Days from the baseline until now; None when a capture tells no day."""

    @property
    def percent_now(self) -> int:
        """Full capacity in percent of the design capacity."""
        return round(100 * self.full_now / self.design)

    @property
    def percent_then(self) -> Optional[int]:
        """The same at the baseline, of the design capacity that the gauge gives now."""
        return None if self.full_then is None else round(100 * self.full_then / self.design)


@dataclass(frozen=True, slots=True, kw_only=True)
class SinceBaseline:
    """What a returning unit's capture says beside that unit's own baseline."""

    taken_at: str
    """When the baseline was taken, as its capture has it."""
    days: Optional[int] = None
    """Days from the baseline until now; None when a capture tells no day, negative when a clock was wrong."""
    unit: Tuple[DeviceSince, ...] = ()
    """The unit's own serial number, then its board."""
    devices: Tuple[DeviceSince, ...] = ()
    """One per expected device of either capture, in the profile's order."""
    wear: Tuple[Wear, ...] = ()
    """Of each battery whose gauge talks now, in the profile's order."""
    others: Tuple[NodeChange, ...] = ()
    """What else changed inside: nothing that ``unit``, ``devices`` or ``wear`` tell, and no helper device."""
    changes: Changes = field(default_factory=Changes)
    """All that differs between the two captures."""

    @property
    def not_as_fitted(self) -> Tuple[DeviceSince, ...]:
        """Unit, board and devices of which something other than "same" or "cannot be told" is to be said."""
        quiet = (Fitted.SAME, Fitted.UNTOLD)
        return tuple(one for one in (*self.unit, *self.devices) if one.fitted not in quiet)
