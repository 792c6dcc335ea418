"""What became of each expected device, and how all other nodes were sorted."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from usbwatch.model.capture import Node
from usbwatch.model.ladder import Rung, Verdict

__all__ = ["Answer", "Finding", "Findings", "Symptom"]


class Symptom(Enum):
    """What an observation looks like to the localiser: one row of its tables."""

    WORKING = "working"
    ABSENT = "absent"
    FAILED = "failed to enumerate"
    DEGRADED = "works below its speed or grade"
    MUTE = "there, but does not talk"
    UNDRIVEN = "answers, but no driver holds it"
    UNSEEN = "not observed"


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
    by_hand_alone: bool = False
    """No capture can show it; only a person can establish it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a person established by a hand check."""

    check: str
    yes: bool


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
    notices: tuple[str, ...] = ()
    """What the reader should know before trusting the findings, one sentence each."""

    def of(self, device: str) -> Finding:
        """The finding of one expected device; raises KeyError for an unknown id."""
        for finding in self.findings:
            if finding.device == device:
                return finding
        raise KeyError(device)
