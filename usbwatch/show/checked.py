"""All that one check of one unit came to: what the views and the JSON document are made from."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import nan

from usbwatch.model import Advice, Capture, Findings, Plan, Profile, Proposal, Suspects

__all__ = ["NOT_WORKED_OUT", "Checked"]

NOT_WORKED_OUT = Suspects(depth=0, left_out=None, hypotheses=(), parts=(), nothing_wrong=nan, unexplained=())
"""Of a unit with nothing wrong, where only the page is asked for: that shows no suspects."""


_STANDS_OUT = 0.2
"""A suspicion weaker than this is no headline."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A capture, the profile it was compared with, and what followed from that."""

    capture: Capture
    profile: Profile
    findings: Findings
    suspects: Suspects
    plan: Plan = field(default=Plan(advice=Advice.NOTHING_WRONG))
    repair: Proposal | None = None
    """Where stopping is advised or a close call: the best repair step, whether or not it is expected to pay."""
    pending: bool = False
    """Whether something was done to the unit since its last capture: what follows is of the state before that."""
    label: str = ""
    """The unit's label in the casebook, whose history was weighed; "" where captures were given by themselves."""

    since: str = ""
    """What is not as it was at the unit's baseline, as one phrase: "Battery is another one"; "" for nothing."""

    @property
    def points_to_a_part(self) -> bool:
        """Whether some part is likely enough to be behind what was found to be named first."""
        explaining = next((one for one in self.suspects.parts if one.explains), None)
        return explaining is not None and explaining.probability >= _STANDS_OUT
