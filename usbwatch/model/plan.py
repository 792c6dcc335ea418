"""What is worth doing next, and whether the repair pays."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

__all__ = ["CLOSE_CALL", "QUESTIONS", "Action", "Advice", "Outcome", "Plan", "Proposal"]


class Action(Enum):
    """What a proposal asks for: something to look at, or something to do."""

    CHECK = "check"
    """A hand check of the profile."""
    LOOK = "look"
    """A device that no capture has seen so far."""
    MEASURE = "measure"
    """A rail, or the continuity of a link, with a meter."""
    ELSEWHERE = "elsewhere"
    """The part tried in another unit of the model."""
    HELPER = "helper"
    """An external device of the same function plugged in: whether driver and system can do with such a one."""
    RESEAT = "reseat"
    SWAP = "swap"
    FIT = "fit"
    MOVE = "move"
    """What hangs on a link goes to another connector that takes it: tells the one from the other."""
    DRAIN = "drain"
    RELOAD = "reload"
    FLEX = "flex"
    REPEAT = "repeat"
    """The same capture once more, with nothing changed."""


QUESTIONS = frozenset({Action.CHECK, Action.LOOK, Action.MEASURE, Action.ELSEWHERE, Action.HELPER})
"""Answered with yes or no; all else is done, and followed by a capture."""


class Advice(Enum):
    """What the figures come to."""

    GO_ON = "go on"
    STOP = "stop"
    """No step is expected to pay: sell the unit as it is, or for parts."""
    NOTHING_WRONG = "nothing wrong"
    DANGER = "danger"
    """A check has shown a danger: nothing else is proposed."""
    OTHER_MODEL = "other model"
    """The profile is for another model: nothing can be proposed by it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One way in which a step can turn out."""

    words: str
    """What is then seen: "yes", "no", "Keyboard and Touchpad are back", …"""
    probability: float
    points_to: str
    """Id of the part that is then likeliest at fault; "" for software, "?" for none that the profile knows."""
    chance: float
    """Probability of that part then."""
    expected_cost: float
    """What is then expected to be spent to the end, in money."""
    stops: bool = False
    """Whether stopping is then the least: the expected cost is what that loses."""
    mended: bool = False
    """Whether all that is wrong now is then well."""
    slip: float = 0.0
    """Of the probability of what is well or a yes, how much is that nothing was wrong: what was found was a mistake."""

    @property
    def was_a_mistake(self) -> bool:
        """Whether what was found wrong is then mostly taken for a mistake, or for something outside the profile."""
        return self.points_to == "?" and self.slip > self.probability / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One thing that could be done next."""

    action: Action
    of: str
    """Id of the check, device or part; "" for the unit as a whole."""
    words: str
    """As an instruction or a question."""
    cost: float
    """Of the step itself: part and bench time, in money."""
    minutes: int
    expected_total: float
    """Expected cost to the end when this is done next; smaller is better."""
    information_bits: float
    """What it is expected to tell about which part has failed."""
    outcomes: tuple[Outcome, ...]
    """Likeliest first."""
    cautions: tuple[str, ...] = ()
    why: str = ""
    """Two sentences: what it is expected to bring or tell, and what follows in either case; money as plain numbers."""
    mends: tuple[str, ...] = ()
    """Ids of the sites that it can mend."""
    breaks: tuple[str, ...] = ()
    """Ids of the sites that it can bring about a fault at."""
    risk: float = 0.0
    """Probability that it brings about a fault that was not there."""

    @property
    def id(self) -> str:
        """Such as ``reseat:top-case-flex`` or ``check:runs-on-battery``."""
        return f"{self.action.value}:{self.of}"

    @property
    def decides_nothing(self) -> bool:
        """Whether every outcome points to the same part, and going on or stopping is the least after each of them."""
        return len({(one.points_to, one.stops) for one in self.outcomes}) == 1

    @property
    def tells_nothing(self) -> bool:
        """Whether every outcome also leaves that part as likely as the others do, as far as a page shows it."""
        return self.decides_nothing and len({round(100 * one.chance) for one in self.outcomes}) == 1


CLOSE_CALL = 0.1
"""Going on and stopping differ by less than this share of what stopping loses: the figures cannot tell them apart.

On eleven units of the three invented models, every kind of prior was put too
high or too low at random (132 plans each, ``benchmarks/close_call.py``): by a
factor of 1.5 that moved the expected cost by 2 % of what stopping loses in the
median and by 8 % in one plan of ten, by a factor of 2 by 5 % and 13 %, by a
factor of 3 by 9 % and 23 %.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is worth doing next, least expected total cost first."""

    advice: Advice
    proposals: tuple[Proposal, ...] = ()
    expected_cost: float | None = None
    """Expected cost from here to the end by the best step, whether or not it pays; None when there is none."""
    given_up: float | None = None
    """What is lost by stopping here: the value of the working unit less that of this one; None when not known."""
    stops: tuple[str, ...] = ()
    """What is to be done at once, for a danger."""
    assumed: tuple[str, ...] = ()
    """Figures that the profile does not give and that were put in, one sentence each."""

    @property
    def close_call(self) -> bool:
        """Whether going on and stopping are expected to cost so nearly the same that the figures cannot decide."""
        if self.expected_cost is None or not self.given_up or self.advice not in (Advice.GO_ON, Advice.STOP):
            return False
        return abs(self.expected_cost - self.given_up) <= CLOSE_CALL * self.given_up
