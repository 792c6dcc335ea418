"""What became of each expected device, and how all other nodes were sorted."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from usbwatch.model.capture import Node
from usbwatch.model.ladder import Rung, Verdict

__all__ = ["Answer", "Claim", "Declaration", "DeclaredState", "Finding", "Findings", "Loss", "Symptom", "Watched"]


class Symptom(Enum):
    """What an observation looks like to the localiser: one row of its tables."""

    WORKING = "working"
    ABSENT = "absent"
    FAILED = "failed to enumerate"
    DEGRADED = "works below its speed or grade"
    MUTE = "there, but does not talk"
    UNDRIVEN = "answers, but no driver holds it"
    INTERMITTENT = "comes and goes"
    """It left and came back while the unit was watched, or again and again by the kernel's log."""
    UNSEEN = "not observed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """How one expected device fared while the unit was watched live, all watches of a capture together."""

    lasted_ms: int
    """In how much watched time."""
    left: int = 0
    """How often it left its place, or its readings stopped to make sense, by itself."""
    fell_silent: int = 0
    """Of these: how often it stayed, and only its readings were away."""
    anew: int = 0
    """How often it left and came back with all else on its controller or right after a sleep; not in ``left``."""
    came: int = 0
    """How often it came where nothing had been since the watch began."""
    shortest_ms: int = 0
    longest_ms: int = 0
    away_ms: int = 0
    """All absences together; one at the end of a watch counts up to that end."""
    away_at_end: bool = False
    marked: int = 0
    """Near how many departures a person made a mark."""
    together: tuple[str, ...] = ()
    """Ids of the devices that left in the same moments."""
    carrier: str = ""
    """Id of the expected device that it hangs on and that left, or ""."""
    with_carrier: int = 0
    """How often that one left: counted there, and not in ``left``."""
    failures: int = 0
    """How often something was attached there and failed to enumerate."""
    fallbacks: int = 0
    """How often it fell back to a lower speed."""
    slowest_kbps: int = 0
    over_currents: int = 0
    resets: int = 0
    unbound: int = 0
    """How often it lost its driver."""
    limit_ms: int = 0
    """A shorter absence may have passed unseen."""
    missed: int = 0
    """How many times the kernel dropped news."""
    tells: bool = False
    """Whether a departure would have shown, so that staying speaks for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What became of one expected device."""

    device: str
    """Id of the expected device."""
    verdict: Verdict
    rung: Rung
    symptom: Symptom
    """What it counts as; ``UNSEEN`` carries no weight."""
    reasons: tuple[str, ...]
    """The evidence lines that say so, most telling first."""
    node: Node | None = None
    """The node that was matched, if any."""
    charged_to: str = ""
    """Id of the expected device whose loss hides this one; counted there, once."""
    would_tell: str = ""
    """For ``unseen``: what would make it seen."""
    software: str = ""
    """How software could explain what was found, as one phrase; "" when it does not, or nothing needs explaining."""
    by_hand_alone: bool = False
    """No capture can show it; only a person can establish it."""
    watched: Watched | None = None
    """How it fared while the unit was watched live; None where it was not."""
    came_and_went: str = ""
    """Name of the device where it is there, but an earlier look found it to come and go and no watch since has shown
    that it stays; "" else."""


class DeclaredState(Enum):
    """What became of something that firmware says the unit has. Firmware's word is evidence, never proof."""

    FOUND = "found"
    """The kernel found it there, and it answered."""
    UNPROVEN = "declared, not proven"
    """The kernel made something of the declaration, which needs no answer of the part."""
    NOT_FOUND = "not found"
    """Firmware says that it is there; the kernel could have found it, and did not."""
    NOT_SEEN = "not seen"
    """Where it would show could not be seen."""
    OFF = "off or not fitted"
    """Firmware itself says that it is not present or switched off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Declaration:
    """One part that firmware says the unit has, and what the kernel found of it. No profile has a say in it."""

    what: str
    """The part in words: "battery", "PS/2 keyboard", "part wired to USB port 4.1"."""
    state: DeclaredState
    said_by: str
    """Which word of firmware it is: "ACPI PNP0C0A, status 31: present, …", "SMBIOS pointing device, …"."""
    where: str
    """Location of the object, record or port that says so."""
    function: str = ""
    """What it does, in the vocabulary of functions; "" where the declaration does not tell."""
    found: str = ""
    """What the kernel found, "" for nothing."""
    because: str = ""
    """Why it counts as not found, not seen or off, or what to bear in mind, as one phrase."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """Something that a capture is asked to say, and whether it can."""

    id: str
    what: str
    """In words: "the unit's serial number"."""
    made: bool
    needs_root: bool = False
    """Not made for want of rights: the same look as root would make it."""
    devices: tuple[str, ...] = ()
    """Ids of expected devices whose findings the claim, had it been made, bears on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a person established by a hand check."""

    check: str
    yes: bool
    again: bool = False
    """Whether it came out like that a second time, when it was tried once more."""


def with_answer(answers: tuple[Answer, ...], check: str, *, yes: bool) -> tuple[Answer, ...]:
    """The answers about one state of a unit with one more.

    Of several to one check the last counts; that it came out like the one before it is kept.
    """
    again = any((one.check, one.yes) == (check, yes) for one in answers)
    return (*(one for one in answers if one.check != check), Answer(check=check, yes=yes, again=again))


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Something that was attached at a USB port and is lost, and that no finding speaks of."""

    location: str
    """Location of the port."""
    what: str
    """``failed to enumerate`` or ``left``."""
    inside: bool
    """Whether firmware says that the port is hardwired; else what failed there may be a helper device."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """One finding per expected device, in the profile's order, and the nodes that none of them took."""

    profile: str
    variant: str = ""
    """Id of the variant that the unit's strings tell, or ""."""
    findings: tuple[Finding, ...]
    answers: tuple[Answer, ...] = ()
    external: tuple[Node, ...] = ()
    """Helper devices: in a socket, or beyond a device in one."""
    unexpected: tuple[Node, ...] = ()
    """Internal devices that the profile does not name."""
    unplaced: tuple[Node, ...] = ()
    """Devices of which neither firmware nor profile says whether they are inside."""
    infrastructure: tuple[Node, ...] = ()
    other_model: bool = False
    """The unit calls itself something that the profile is not for: no part can be named by it."""
    losses: tuple[Loss, ...] = ()
    """What is lost at a port that no finding speaks of, by location."""
    declared: tuple[Declaration, ...] = ()
    """What firmware says the unit has, whatever the profile says, by location."""
    claims: tuple[Claim, ...] = ()
    """What the capture was asked beyond its nodes, and what of it lack of rights kept it from saying."""
    notices: tuple[str, ...] = ()
    """What the reader should know before trusting the findings, one sentence each."""

    def of(self, device: str) -> Finding:
        """The finding of one expected device; raises KeyError for an unknown id."""
        for finding in self.findings:
            if finding.device == device:
                return finding
        raise KeyError(device)
