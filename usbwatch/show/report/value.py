"""A report as a value: all that any renderer shows, in words, and nothing that it would have to work out.

It is made once (``making``), from values that were redacted before
(``privacy``). Every string in it is fit to be shown on one line
(``usbwatch.safe``); a renderer escapes it for its own format, and for that alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from usbwatch.model import Fitted, PartKind, Verdict
from usbwatch.show.verdict import Outcome

__all__ = [
    "Block",
    "Cause",
    "Changed",
    "Device",
    "Event",
    "Fact",
    "Hand",
    "Joint",
    "Kind",
    "Look",
    "NextStep",
    "Quote",
    "Report",
    "Ruled",
    "Seen",
    "SinceRow",
    "Suspect",
]


class Kind(Enum):
    """What a report is about."""

    FAULT = "missing-device report"
    """Something is wrong or unseen: which part, and why."""
    HEALTHY = "healthy report"
    """All that was expected is there."""
    COMPARISON = "comparison"
    """What differs between two captures of a unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A name and what is said of it: one row of a list."""

    name: str
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """One expected device, and what became of it."""

    id: str
    name: str
    verdict: Verdict
    got: str = ""
    """How far it got, where that is worth saying: "got as far as attached"."""
    reasons: tuple[str, ...] = ()
    """Why it is judged so, the most telling first."""
    would_tell: str = ""
    """Of one that is unseen: what would make it seen."""
    charged_to: str = ""
    """Name of the device whose loss hides this one."""
    needs: tuple[str, ...] = ()
    """Ids of the links, rails and sections on its way, host side first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """A question that a person answered, or that is still open."""

    question: str
    answer: bool | None
    """None: still to be answered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """A link between two blocks, or a rail or section within one."""

    id: str
    name: str
    kind: PartKind
    near: str
    """Id of the block at the root's side; of the block that a rail or section lies in."""
    far: str = ""
    """Id of the other block of a link; "" for a rail or section."""
    probability: float | None = None
    """That it is at fault; None where it is no suspect."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One subassembly, with what it carries, as the unit comes apart."""

    id: str
    name: str
    toward: str = ""
    """Id of the block nearer to the root that its links lead to; "" for the root and for what hangs on nothing."""
    links: tuple[Joint, ...] = ()
    """Towards that block."""
    inner: tuple[Joint, ...] = ()
    """Rails and sections that lie in it."""
    devices: tuple[Device, ...] = ()
    probability: float | None = None
    """That it is at fault; None where it is no suspect."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """A part that may have failed, and the case for and against it."""

    part: str
    """Id of the part; "" for software."""
    name: str
    probability: float
    ways: tuple[Fact, ...] = ()
    """How it can have failed, and how likely each is: "Battery itself", "51%"."""
    explains: tuple[str, ...] = ()
    """Names of what it accounts for."""
    leaves: tuple[str, ...] = ()
    """Names of what it does not."""
    against: tuple[str, ...] = ()
    """Names of what is well although this would have spoiled it."""
    argues_for: str = ""
    argues_against: str = ""
    mend: str = ""
    """What mends it, and what that costs as far as that is to be told."""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruled:
    """A part that is good, and how that is known."""

    name: str
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """The likeliest cause, for the first ten seconds."""

    name: str
    """Of the part."""
    part: str
    """Its id, "" for software."""
    how: str
    """The likeliest way: "Top-case flex open or unseated"."""
    probability: float
    because: tuple[str, ...]
    """Two or three plain sentences that say why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """What to do next."""

    words: str
    takes: str = ""
    """Cost and time; "" where money is not to be told and the time is not known."""
    why: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Quote:
    """Evidence as it was read: a line of the kernel's log, or an attribute and its value."""

    about: str
    """Name of the device or place that it speaks of."""
    text: str
    source: str
    """Where it stands: "kernel log", "sysfs", "firmware (SMBIOS)"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One line of the unit's history."""

    when: str
    what: str
    """The word for its kind: "step", "capture"."""
    said: tuple[str, ...]
    mark: str = ""
    """``withdrawn`` or ``amended``, or ""."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SinceRow:
    """A part beside the unit's own baseline."""

    name: str
    fitted: Fitted
    said: str
    block: str = ""
    """Name of the subassembly that carries it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """One thing that differs between two captures."""

    word: str
    """``new``, ``gone``, ``moved``, ``replaced``, ``changed``."""
    name: str
    where: str
    said: tuple[str, ...] = ()
    """What of it differs, "field: before → after"."""
    block: str = ""
    """Name of the subassembly that carries it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """Whether one bus could be seen."""

    bus: str
    state: str
    """``seen``, ``empty``, …: the word of the coverage."""
    said: str = ""
    """How many nodes, or why it could not be seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A capture that the report rests on: enough to know it again."""

    taken_at: str
    """RFC 3339, UTC, or ""."""
    shown_at: str
    """The same on the bench's clock."""
    digest: str
    """``sha256:…`` of the capture, as its own document carries it."""
    system: str
    """What looked: "linux 6.12.0, copied tree, as root"."""
    tool: str
    """The version of usbwatch that captured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All that is to be told."""

    kind: Kind
    heading: str
    """What the report is, in a few words: "missing-device report"."""
    title: str
    """Unit and model in a few words: "Fernhill Larch 13"."""
    label: str = ""
    """The shop's own number for the unit, or ""."""
    made_at: str = ""
    """RFC 3339, UTC."""
    shown_at: str = ""
    """The same on the bench's clock."""
    made_by: str = ""
    """"usbwatch 0.1.0"."""
    redacted: bool = True
    """Whether what identifies unit and people was replaced by tokens or left out."""

    outcome: Outcome
    verdict: str
    """The verdict as one sentence."""
    cause: Cause | None = None
    no_cause: str = ""
    """Why no part is named; "" where one is or nothing is wrong."""
    next_step: NextStep | None = None
    stops: tuple[str, ...] = ()
    """Dangers: what to do at once."""
    notices: tuple[str, ...] = ()
    """What the reader should know before trusting it."""

    unit: tuple[Fact, ...] = ()
    """Maker, model, variant, serial number (or its token), firmware, profile, …"""
    blocks: tuple[Block, ...] = ()
    """As the unit comes apart."""
    hands: tuple[Hand, ...] = ()
    suspects: tuple[Suspect, ...] = ()
    """Likeliest first."""
    basis: str = ""
    """What the chances rest on."""
    ruled: tuple[Ruled, ...] = ()
    quotes: tuple[Quote, ...] = ()
    since_title: str = ""
    since: tuple[SinceRow, ...] = ()
    wear: tuple[Fact, ...] = ()
    changed: tuple[Changed, ...] = ()
    outside: tuple[str, ...] = ()
    """Helper devices, and what is neither expected nor placed, by name."""
    events: tuple[Event, ...] = ()
    money: tuple[Fact, ...] = ()
    """Only where it was asked for."""
    coverage: tuple[Seen, ...] = ()
    looks: tuple[Look, ...] = field(default=())
    """Oldest first."""
    profile: str = ""
    """Id and digest of the profile."""
    cautions: tuple[str, ...] = ()
    """Where somebody works on the unit by this report."""
