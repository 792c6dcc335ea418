"""What is learnt of a model, as values."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from usbwatch.model import Capture, Rung

__all__ = [
    "Counted",
    "Difference",
    "Learnt",
    "LearntDevice",
    "LearntVariant",
    "Outlier",
    "OutlierKind",
    "Source",
    "Standing",
    "Support",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One capture to learn from."""

    name: str
    """What a person calls it: its file."""
    digest: str
    """Of its document; captures with the same one count once."""
    capture: Capture


class Standing(Enum):
    """Whether a unit has to have a device."""

    MANDATORY = "mandatory"
    """Every healthy unit has it."""
    VARIANT = "variant"
    """Some variants have it, and a string that firmware gives tells which."""
    OPTIONAL = "optional"
    """Some units have it, and nothing tells which."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """How many units stand behind a line."""

    there: int
    """Units in which it was."""
    of: int
    """Units that could be seen there."""
    unseen: int = 0
    """Units that could not: they say neither yes nor no."""
    unwell: int = 0
    """Units in which it was, and in no capture of them healthy: they are not counted among ``there`` and ``of``."""
    low: float
    high: float
    """Ends of the 95 % score interval of the share (Wilson 1927)."""
    sure: float
    """Probability of what is said, 0 to 1, under the assumptions of ``usbwatch.drafting.learning.assumptions``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A place or an identity of a device, and in how many units it was found."""

    text: str
    units: int
    told_by: str = ""
    """The string that tells which units have this one: a key of ``UnitStrings`` or ``kernel``; "" where none does."""
    values: tuple[str, ...] = ()
    """The values of that string which go with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LearntDevice:
    """One device of the model."""

    function: str
    """A word of ``usbwatch.model.FUNCTIONS``, "" where nothing tells it."""
    evidence: str
    """What says so, as in ``usbwatch.drafting.census``."""
    bus: str
    name: str
    """What it calls itself in most units."""
    driver: str
    standing: Standing
    support: Support
    places: tuple[Counted, ...]
    """Where it sits; of several the most usual first."""
    identities: tuple[Counted, ...]
    """What it says it is: of second sources the most usual first; empty where it says nothing."""
    reaches: Rung
    """How far healthy ones get."""
    speed_mbps: int | None = None
    lanes: int | None = None
    link_gts: float | None = None
    in_display_half: bool = False
    """Firmware places its port in the lid."""
    inside: bool = True
    """Something says that it is inside the unit."""
    doubt: str = ""
    """Why it may not be as a healthy one is, or not be there at all, as a phrase; "" where nothing speaks for that."""
    firmware_names: tuple[str, ...] = ()
    """ACPI ids by which only some firmware versions declare it; empty: all do."""
    told_by: str = ""
    """For a variant's: the string that tells it."""
    values: tuple[str, ...] = ()
    """The values of that string with which it is there."""
    goes_with: tuple[int, ...] = ()
    """For an optional one: the numbers of the devices that are there and absent together with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LearntVariant:
    """Units that lack the same devices."""

    match: dict[str, tuple[str, ...]]
    """How it is told: strings of firmware with their values."""
    without: tuple[int, ...]
    """Numbers of the devices that it lacks; empty for a variant that has everything."""
    units: int


class OutlierKind(Enum):
    """Why a capture was not taken as it is."""

    OTHER_MODEL = "another model"
    NOTHING_TO_LEARN = "nothing to learn from"
    NOT_HEALTHY = "not healthy"
    HELPER = "helper left in"
    TWICE = "given twice"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """One capture that was not as the others, and why."""

    name: str
    kind: OutlierKind
    reasons: tuple[str, ...]
    """A sentence each, without the full stop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """What differs between units by the version of firmware or kernel alone."""

    device: int
    """The number of the device."""
    what: str
    """What of it differs: ``place``, ``rung``, ``function``, ``driver``, ``name``, ``presence``."""
    by: str
    """``kernel`` or ``bios_version``."""
    values: tuple[tuple[str, str, int], ...]
    """Version, what was found with it, and in how many captures; by version."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """All that many captures say of a model."""

    strings: dict[str, tuple[tuple[str, int], ...]]
    """By key of ``UnitStrings``: the values of the units, the most usual first, and how many units have each."""
    captures: int
    """How many captures are counted."""
    units: int
    """How many units these show: captures with the same serial number are one unit's."""
    since: str = ""
    until: str = ""
    """First and last day, ISO 8601; "" where no capture tells its time."""
    devices: tuple[LearntDevice, ...] = ()
    """Carriers before what they carry; the numbers that other values use count from 0 in this order."""
    variants: tuple[LearntVariant, ...] = ()
    differences: tuple[Difference, ...] = ()
    empty_ports: tuple[Counted, ...] = ()
    """USB ports to which something is wired by firmware's word, on which no capture shows anything; by place."""
    unseen_buses: tuple[str, ...] = ()
    """Buses that every laptop has and that no capture could see, so that what shows there is not among the devices."""
    outliers: tuple[Outlier, ...] = field(default=())
    """By name."""
