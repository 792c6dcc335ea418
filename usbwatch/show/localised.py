"""All that localising came to, over any number of captures of one unit."""

from __future__ import annotations

from dataclasses import dataclass

from usbwatch.model import Answer, Capture, Findings, Step, Suspects
from usbwatch.show.checked import Checked

__all__ = ["Localised", "Seen", "Supposed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One of the captures, and what was done before it."""

    capture: Capture
    path: str = ""
    """"" for one that was taken now."""
    when: str = ""
    """Time of the capture as it is to be read."""
    steps: tuple[Step, ...] = ()
    answers: tuple[Answer, ...] = ()
    findings: Findings | None = None
    """What it shows; None where that was not worked out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Supposed:
    """What is supposed, as it was typed, and who would then be suspected."""

    suppositions: tuple[str, ...]
    suspects: Suspects
    findings: Findings | None = None
    """The last look as it would then be; None where that was not worked out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Localised:
    """What is believed after the last capture, and what it rests on."""

    checked: Checked
    """The last capture, with the suspects and the plan that follow from all of them."""
    seen: tuple[Seen, ...]
    """Oldest first."""
    supposed: Supposed | None = None
    at_hand: tuple[str, ...] = ()
    """Ids of parts known to be good that lie ready."""
    not_weighed: int = 0
    """Captures, the oldest, that were too many to be weighed with the others; what was done before them counts."""
