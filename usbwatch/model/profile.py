"""What a healthy unit of a model shows, and how it is built.

The file format is TOML; ``docs/profile.md`` explains every field, and
``usbwatch.profile`` reads and checks it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from usbwatch.model.ladder import Rung

__all__ = ["Basis", "ExpectedDevice", "HandCheck", "Match", "Money", "Part", "PartKind", "Profile", "Variant"]


class PartKind(Enum):
    """What sort of part can fail and be put right by itself."""

    SUBASSEMBLY = "subassembly"
    """What is replaced as one piece."""
    SECTION = "section"
    """A region of one subassembly's board that several devices share, or some of the lines of one link."""
    LINK = "link"
    """What joins two subassemblies: flex cable, connector, display cable."""
    RAIL = "rail"
    """A supply that several devices share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of the unit that can fail."""

    id: str
    kind: PartKind
    name: str
    within: str = ""
    """The subassembly that a section or rail belongs to (or a section's link), so what replaces it; "" for others."""
    joins: tuple[str, ...] = ()
    """The two subassemblies that a link joins."""
    cost: int | None = None
    """Price of the part, in whole units of ``Money.currency``; None when not known."""
    minutes: int | None = None
    """Bench time to replace (for a link: reseat or replace) it."""
    weight: float = 1.0
    """How much likelier (or less likely) than usual for its kind this part is to fail."""
    spare: str = ""
    """Of a link: another connector of the unit that takes the same thing, in words; "" for none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedDevice:
    """One device that a healthy unit shows."""

    id: str
    name: str
    function: str
    within: str
    """The subassembly that carries it."""
    locations: tuple[str, ...] = ()
    """Where it may sit; empty: anywhere inside, told by its function alone."""
    identities: tuple[str, ...] = ()
    """What it may say it is (second sources); empty: anything that has the function."""
    needs: tuple[str, ...] = ()
    """Parts and other devices that it depends on, host side first."""
    reaches: Rung = Rung.WORKING
    """How far a healthy one gets."""
    speed_mbps: int | None = None
    """The speed a healthy one runs at (USB)."""
    lanes: int | None = None
    """The width a healthy one's PCI Express link has."""
    link_gts: float | None = None
    """The speed a healthy one's PCI Express link runs at, in GT/s."""
    optional: bool = False
    """Not every unit has it: its absence is no finding."""
    weight: float = 1.0
    """How much likelier than usual for its function this device is to fail."""
    firmware_names: tuple[str, ...] = ()
    """ACPI or PNP ids: expected only when firmware declares one of them as present; empty: always."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandCheck:
    """Something that a person establishes."""

    id: str
    question: str
    """Answered yes on a healthy unit."""
    needs: tuple[str, ...] = ()
    """Parts and devices on which a yes depends, host side first."""
    caution: str = ""
    minutes: int = 1
    stop: str = ""
    """What to do at once on a no: shown first, and nothing else is proposed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """Which units a profile is for.

    Every key given must equal one of its values, with case and spaces folded.
    """

    strings: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """``sys_vendor``, ``product_name``, … as in ``usbwatch.model.capture.UnitStrings``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """A variant of the model: how it is told, and which devices it lacks or alone has."""

    id: str
    name: str
    match: Match
    without: tuple[str, ...] = ()
    """Devices and hand checks of the profile that this variant does not have."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Money:
    """What the unit is worth, in whole units of ``currency``; None when not known."""

    currency: str = ""
    value_working: int | None = None
    value_as_is: int | None = None
    """What it brings as it stands."""
    value_parts: int | None = None
    """What it brings in parts, less the work of taking it apart."""
    hourly_rate: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What a profile rests on."""

    how: str = ""
    """``drafted`` from one capture, ``learnt`` from many, ``written`` by hand; "" when not told."""
    layout: str = ""
    """Id of the layout template that its subassemblies and links were proposed from, "" for none."""
    units: int | None = None
    """How many good units; None when not told."""
    captures: int | None = None
    """How many captures of them."""
    since: str = ""
    """Day of the earliest capture, ISO 8601, or ""."""
    until: str = ""
    """Day of the latest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A model's profile. Ids are unique over parts, devices and hand checks together."""

    id: str
    name: str
    source: str
    """Where the facts come from; for the demo models: that they are invented."""
    author: str = ""
    date: str = ""
    """Day of the last change, ISO 8601 (``2026-03-14``)."""
    generic: bool = False
    """Fits any laptop by function; used only when asked for, or when nothing else fits."""
    match: Match = field(default_factory=Match)
    variants: tuple[Variant, ...] = ()
    parts: tuple[Part, ...] = ()
    devices: tuple[ExpectedDevice, ...] = ()
    checks: tuple[HandCheck, ...] = ()
    money: Money = field(default_factory=Money)
    basis: Basis = field(default_factory=Basis)
    digest: str = ""
    """``sha256:…`` of its content when that was last sealed, as the file says; "" for none."""
    edited: bool = field(default=False, compare=False)
    """Whether its content was changed since: the digest is of another content."""
    path: str = ""
    """The file it was read from."""
