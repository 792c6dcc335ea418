"""What a set of faults accounts for, and which single observation argues most for a part and against it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from usbwatch.localise.beliefs import Beliefs
from usbwatch.localise.sites import UNKNOWN_PART
from usbwatch.localise.weighing import Observation, likelihood

if TYPE_CHECKING:
    from usbwatch.localise.weighing import Numbers

__all__ = ["TELLING_RATIO", "Account", "Argument", "account", "accounts_for", "strongest"]

TELLING_RATIO = 2.0
"""A fault accounts for (or speaks against) an observation when it makes it so many times likelier (or less likely)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """What a fault set makes of the last look; the fields are those of ``Hypothesis``."""

    explains: tuple[str, ...]
    leaves: tuple[str, ...]
    against: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Argument:
    """The observations that argue most for and most against something, by id; "" where none does."""

    most_for: str
    most_against: str
    for_was_wrong: bool = True
    """Whether it was found wrong when it argued."""
    against_was_wrong: bool = False


def accounts_for(faults: Collection[int], observation: Observation, beliefs: Beliefs) -> bool:
    """Whether these courses make what was found wrong markedly likelier than a unit without a known fault does."""
    return observation.wrong and likelihood(observation, faults) >= TELLING_RATIO * _usual(observation, beliefs)


def _usual(observation: Observation, beliefs: Beliefs) -> float:
    """Probability of the observation in a unit whose only faults can be what the profile does not know."""
    sites, courses = beliefs.layout.sites, beliefs.courses
    unknown = [each for each in observation.hazards if sites[courses[each.fault].site].part == UNKNOWN_PART]
    return observation.clean + sum(each.shows * courses[each.fault].fault.odds for each in unknown)


def account(faults: Collection[int], beliefs: Beliefs) -> Account:
    """What these courses explain, leave unexplained, and would have spoiled."""
    wrong = [each for each in beliefs.current if each.wrong]
    well = [each for each in beliefs.current if not each.wrong]
    explained = [each.id for each in wrong if accounts_for(faults, each, beliefs)]
    return Account(
        explains=tuple(explained),
        leaves=tuple(each.id for each in wrong if each.id not in explained),
        against=tuple(each.id for each in well if likelihood(each, faults) * TELLING_RATIO <= each.clean),
    )


def strongest(beliefs: Beliefs, groups: Mapping[str, Collection[int]]) -> dict[str, Argument]:
    """Per group of courses, the single observations that move its odds most, each taken by itself.

    An observation's weight is how much likelier it is in a unit with one fault
    of the group than in one without (the empty set and every other single fault).
    """
    import numpy as np

    told = [each for each in beliefs.evidence if each.id in beliefs.layout.paths]  # a supposition is no argument
    odds = np.array([course.fault.odds for course in beliefs.courses])
    holds = np.zeros((len(groups), len(odds)))
    for row, numbers in enumerate(groups.values()):
        holds[row, list(numbers)] = 1
    ratios = np.array([_ratios(each, odds, holds) for each in told]).reshape(len(told), len(groups))
    return {group: _argument(told, ratios[:, number]) for number, group in enumerate(groups)}


def _ratios(observation: Observation, odds: Numbers, holds: Numbers) -> Numbers:
    """Per group, how much likelier the observation is with a fault of it than without."""
    import numpy as np

    told = np.full(len(odds), observation.clean)
    for hazard in observation.hazards:
        told[hazard.fault] = hazard.shows + hazard.passes * observation.clean
    least = np.finfo(float).tiny
    with_it = (holds @ (odds * told)) / np.maximum(holds @ odds, least)
    without = (observation.clean + (1 - holds) @ (odds * told)) / (1 + (1 - holds) @ odds)
    return np.where(holds.any(axis=1), with_it / without, 1.0)


def _argument(told: Sequence[Observation], ratios: Numbers) -> Argument:
    if not len(ratios):
        return Argument(most_for="", most_against="")
    highest, lowest = int(ratios.argmax()), int(ratios.argmin())
    return Argument(
        most_for=told[highest].id if ratios[highest] >= TELLING_RATIO else "",
        most_against=told[lowest].id if ratios[lowest] * TELLING_RATIO <= 1 else "",
        for_was_wrong=told[highest].wrong,
        against_was_wrong=told[lowest].wrong,
    )
