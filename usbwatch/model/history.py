"""What the casebook holds of a unit: entries that are only ever added, each with one fact.

An entry is never changed or taken away. What was wrong is amended by a later
entry, which names the first one and says what stands instead. These values are
not among the front names of ``usbwatch.model``: most runs need none of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import Optional, Tuple, Union

from usbwatch.model.steps import Step

__all__ = [
    "Amended",
    "Answered",
    "Attached",
    "Baselined",
    "Captured",
    "Cause",
    "Closed",
    "Ending",
    "Entry",
    "Grade",
    "Intake",
    "Noted",
    "Opened",
    "PartSerial",
    "PartUsed",
    "Recorded",
    "Reopened",
    "StepDone",
    "Unit",
]


class Grade(Enum):
    """What is known of a part that is put in."""

    KNOWN_GOOD = "known good"
    """Proven in another unit."""
    NEW = "new"
    USED = "used"
    """Taken from a unit or bought used, and not proven."""


class Ending(Enum):
    """How a unit leaves the bench."""

    REPAIRED = "repaired"
    SOLD_AS_IS = "sold as is"
    PARTED_OUT = "parted out"
    RETURNED = "returned"
    """Handed back without a repair."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """What is told of a unit when it comes in."""

    claims: Tuple[str, ...] = ()
    """The faults that are claimed, as told."""
    came_with: Tuple[str, ...] = ()
    """Adapter, box, disk, …"""
    paid: Optional[int] = None
    """What was paid for it, in whole units of the shop's currency."""
    liquid: Optional[bool] = None
    """Whether liquid got into it; None: not told."""
    dropped: Optional[bool] = None
    opened_before: Optional[bool] = None
    """Whether somebody had it open before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """The unit came in, and its case was opened."""

    label: str
    """The shop's own number for it."""
    model: str = ""
    """Id of the model's profile; "" until it is known."""
    intake: Intake = field(default_factory=Intake)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reopened:
    """The unit came back."""

    intake: Intake = field(default_factory=Intake)


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """A capture of the unit was taken or brought in."""

    capture: str
    """Digest of its document."""
    taken_at: str = ""
    """As the capture itself says it: a unit's clock may be wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """What a hand check, a measurement or a trial in another unit showed."""

    check: str
    yes: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PartUsed:
    """The part that a step put in."""

    grade: Optional[Grade] = None
    serial: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepDone:
    """A bench step, and what came of it."""

    step: Step
    part: PartUsed = field(default_factory=PartUsed)
    cost: Optional[int] = None
    """What the part cost, in whole units of the shop's currency."""
    minutes: Optional[int] = None
    result: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """Anything else, in words."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Attached:
    """A photo or another file."""

    file: str
    """Digest of its content."""
    name: str
    """What it was called, without folders. Never used as a path."""
    size: int
    """Bytes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSerial:
    """The serial number of one part of the unit, as a capture gives it."""

    of: str
    """Id of the expected device, ``unit`` or ``board``."""
    serial: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Baselined:
    """A capture was kept as the unit's healthy state."""

    capture: str
    """Digest of its document."""
    serials: Tuple[PartSerial, ...] = ()
    """Of the parts that are in the unit now."""
    reason: str = ""
    """Why it was kept although not all was present; "" where all was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One thing that had failed, as it turned out."""

    site: str
    """``dead:keyboard``, ``open:top-case-flex``, … (``usbwatch.model.suspects.Site``)."""
    site_class: str = ""
    """What is counted together with it over all models (``usbwatch.localise.rates``)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed:
    """The unit left the bench."""

    ending: Ending
    model: str = ""
    """Id of the profile that the causes are told in."""
    cause_known: bool = False
    """Whether it is known what had failed; with no causes: that nothing had."""
    causes: Tuple[Cause, ...] = ()
    sites: str = ""
    """Digest of the list of all that could have failed; "" where the cause is not known."""
    brought: Optional[int] = None
    """What it was sold for, or what the customer paid, in whole units of the shop's currency."""
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Amended:
    """An earlier entry was wrong: what stands in its place."""

    entry: str
    """Id of the entry; never one that is itself an amendment."""
    reason: str
    instead: Optional[Recorded] = None
    """A fact of the same kind; None: the entry is withdrawn."""


Recorded = Union[Opened, Reopened, Captured, Answered, StepDone, Noted, Attached, Baselined, Closed, Amended]
"""The fact of an entry; the words for its kinds in a document stand in ``usbwatch.casebook.entries``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of a unit's history."""

    id: str
    """32 hex digits, drawn at random: the same in every book that has the entry."""
    unit: str
    """Id of the unit."""
    number: int
    """Counted from 1 in this book; another book may number it otherwise."""
    at: str
    """When it happened: RFC 3339, UTC."""
    recorded_at: str
    """When it was written down."""
    fact: Recorded
    by: str = ""
    """Who wrote it down, or at which bench."""
    order: int = 0
    """One more than the highest that the book had of the unit when this was written down, whatever its clock said.

    L. Lamport, Time, Clocks, and the Ordering of Events in a Distributed System, CACM 21 (1978), rule IR1/IR2.
    """


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit as a list shows it."""

    id: str
    """32 hex digits, drawn at random: the same in every book that has the unit."""
    label: str
    model: str
    """Id of the model's profile, or ""."""
    ending: Optional[Ending]
    """None while it is on the bench."""
    opened_at: str
    changed_at: str
    """When its last entry was written down."""
    entries: int
