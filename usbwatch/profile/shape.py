"""The shape of a profile file, table by table, as msgspec reads it.

These mirror the TOML one to one; ``usbwatch.model.profile`` has the values
that the rest of usbwatch speaks in. The JSON Schema is made from here, so a
rule that can be said as a bound or a pattern stands here and nowhere else.
Import this module only inside functions: it needs msgspec.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType, field  # noqa: TID253 - this module is itself imported late

from usbwatch.model import FUNCTIONS

__all__ = [
    "DATE_PATTERN",
    "DIGEST_PATTERN",
    "ID_PATTERN",
    "MOST_ENTRIES",
    "BasisTable",
    "CheckTable",
    "DeviceTable",
    "Document",
    "Function",
    "LinkTable",
    "MatchTable",
    "MoneyTable",
    "SubassemblyTable",
    "VariantTable",
    "WithinTable",
]

MOST_ENTRIES = 400
"""In one of the tables that the weighing of faults grows with."""

ID_PATTERN = "^[a-z0-9]+(-[a-z0-9]+)*$"
DATE_PATTERN = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
DIGEST_PATTERN = "^sha256:[0-9a-f]{64}$"

Id = Annotated[str, Meta(pattern=ID_PATTERN, max_length=60)]
Word = Annotated[str, Meta(min_length=1, max_length=120)]
Line = Annotated[str, Meta(min_length=1, max_length=1000)]
# No pattern on a text inside a union: msgspec 0.19 to 0.22 crash at garbage collection on that (seen, all four).
Words = Word | Annotated[list[Word], Meta(min_length=1, max_length=100)]
Ids = Annotated[list[Id], Meta(max_length=100)]
Amount = Annotated[int, Meta(ge=0, le=1_000_000_000)]
Day = Annotated[str, Meta(pattern=DATE_PATTERN)]
Units = Annotated[int, Meta(ge=0, le=1_000_000_000)]
Minutes = Annotated[int, Meta(ge=0, le=10_000)]
Weight = Annotated[float, Meta(gt=0, le=1000)]
Lanes = Annotated[int, Meta(ge=1, le=32)]
Transfers = Annotated[float, Meta(gt=0, le=128)]
Speed = Annotated[int, Meta(ge=1, le=1_000_000)]
_ENTRIES = Meta(max_length=MOST_ENTRIES)

if TYPE_CHECKING:
    Function = str
else:
    Function = Literal[FUNCTIONS]
"""One of ``usbwatch.model.FUNCTIONS``. A type checker cannot read a ``Literal`` of a constant, msgspec can."""

Reach = Literal["absent", "attached", "addressed", "identified", "configured", "bound", "working"]
"""The values of ``usbwatch.model.Rung``; a test holds them together."""


class _Table(Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """A table of the file: an unknown key is a fault."""


class MatchTable(_Table, frozen=True, kw_only=True):
    """Which units the profile or the variant is for: SMBIOS strings, all of which must match."""

    sys_vendor: Words = field(default_factory=list)
    product_name: Words = field(default_factory=list)
    product_version: Words = field(default_factory=list)
    product_sku: Words = field(default_factory=list)
    product_family: Words = field(default_factory=list)
    board_vendor: Words = field(default_factory=list)
    board_name: Words = field(default_factory=list)
    board_version: Words = field(default_factory=list)
    bios_version: Words = field(default_factory=list)
    chassis_type: Words = field(default_factory=list)


class VariantTable(_Table, frozen=True, kw_only=True):
    """A variant of the model: how it is told, and what it does not have."""

    name: Word
    match: MatchTable
    without: Ids = field(default_factory=list)


class SubassemblyTable(_Table, frozen=True, kw_only=True):
    """What is replaced as one piece."""

    name: Word
    cost: Amount | UnsetType = UNSET
    minutes: Minutes | UnsetType = UNSET
    weight: Weight = 1.0


class WithinTable(_Table, frozen=True, kw_only=True):
    """A section of a subassembly's board or of a link's lines, or a rail that a subassembly makes."""

    name: Word
    within: Id
    cost: Amount | UnsetType = UNSET
    minutes: Minutes | UnsetType = UNSET
    weight: Weight = 1.0


class LinkTable(_Table, frozen=True, kw_only=True):
    """What joins two subassemblies and can fail by itself."""

    name: Word
    joins: Annotated[list[Id], Meta(min_length=2, max_length=2)]
    cost: Amount | UnsetType = UNSET
    minutes: Minutes | UnsetType = UNSET
    weight: Weight = 1.0
    spare: Annotated[str, Meta(max_length=120)] = ""


class DeviceTable(_Table, frozen=True, kw_only=True):
    """One device that a healthy unit shows."""

    name: Word
    function: Function
    within: Id
    location: Words = field(default_factory=list)
    identity: Words = field(default_factory=list)
    needs: Ids = field(default_factory=list)
    reaches: Reach = "working"
    speed_mbps: Speed | UnsetType = UNSET
    lanes: Lanes | UnsetType = UNSET
    link_gts: Transfers | UnsetType = UNSET
    optional: bool = False
    weight: Weight = 1.0
    firmware_names: Annotated[list[Word], Meta(max_length=100)] = field(default_factory=list)


class CheckTable(_Table, frozen=True, kw_only=True):
    """Something that a person establishes; answered yes on a healthy unit."""

    question: Line
    needs: Ids = field(default_factory=list)
    caution: Annotated[str, Meta(max_length=1000)] = ""
    minutes: Minutes = 1
    stop: Annotated[str, Meta(max_length=1000)] = ""


class MoneyTable(_Table, frozen=True, kw_only=True):
    """What the unit is worth, in whole units of ``currency``."""

    currency: Annotated[str, Meta(max_length=12)] = ""
    value_working: Amount | UnsetType = UNSET
    value_as_is: Amount | UnsetType = UNSET
    value_parts: Amount | UnsetType = UNSET
    hourly_rate: Amount | UnsetType = UNSET


class BasisTable(_Table, frozen=True, kw_only=True):
    """What a profile rests on."""

    how: Literal["drafted", "learnt", "written"] | UnsetType = UNSET
    layout: Annotated[str, Meta(max_length=60)] = ""
    units: Units | UnsetType = UNSET
    captures: Units | UnsetType = UNSET
    since: Day = ""
    until: Day = ""


class Document(_Table, frozen=True, kw_only=True):
    """A profile of usbwatch: what a healthy unit of one model shows, and how it is built."""

    format: Literal["usbwatch-profile"]
    schema: Literal[1]
    id: Id
    name: Word
    source: Line
    author: Annotated[str, Meta(max_length=120)] = ""
    date: Day = ""
    digest: Annotated[str, Meta(pattern=DIGEST_PATTERN)] = ""
    generic: bool = False
    match: MatchTable = field(default_factory=MatchTable)
    variant: dict[Id, VariantTable] = {}
    subassembly: Annotated[dict[Id, SubassemblyTable], _ENTRIES] = {}
    section: Annotated[dict[Id, WithinTable], _ENTRIES] = {}
    link: Annotated[dict[Id, LinkTable], _ENTRIES] = {}
    rail: Annotated[dict[Id, WithinTable], _ENTRIES] = {}
    device: Annotated[dict[Id, DeviceTable], _ENTRIES] = {}
    check: Annotated[dict[Id, CheckTable], _ENTRIES] = {}
    money: MoneyTable = field(default_factory=MoneyTable)
    basis: BasisTable = field(default_factory=BasisTable)
