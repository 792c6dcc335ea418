"""One thing that could be done next."""

from __future__ import annotations

from dataclasses import dataclass

from usbwatch.localise.weighing import Observation
from usbwatch.model.plan import Action
from usbwatch.model.steps import Step

__all__ = ["Candidate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One thing that could be done: an observation that changes nothing, or a step and the capture after it."""

    action: Action
    of: str
    words: str
    part_cost: float = 0.0
    """Spent on a part whatever comes of it."""
    price_if_mended: float = 0.0
    """Spent on a part when the one on trial is the cure."""
    minutes: int = 1
    yes: Observation | None = None
    """The observation as it is if all is well; hazards name sites of the layout. None for a step."""
    step: Step | None = None
    """None for an observation, and for a capture that is only repeated."""
    cautions: tuple[str, ...] = ()
