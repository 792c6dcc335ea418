"""A proposal in words: what each outcome is called, and two sentences on why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from usbwatch.localise.sites import UNKNOWN_PART
from usbwatch.model.plan import Outcome
from usbwatch.model.profile import Profile
from usbwatch.plan.asked import questions
from usbwatch.plan.foresight import REST

__all__ = [
    "ALL_WELL",
    "NOTHING",
    "names_of",
    "outcome_words",
    "stay_words",
    "why_look",
    "why_same",
    "why_stay",
    "why_step",
]

ALL_WELL, NOTHING, _SOME = "all of it is well", "nothing changes", "some of it is well"


def names_of(profile: Profile) -> dict[str, str]:
    """By id, what can be wrong with a unit in words."""
    return {each.id: each.name for each in profile.devices} | questions(profile)


def outcome_words(well: tuple[str, ...], wrong: tuple[str, ...], names: Mapping[str, str]) -> str:
    """What is seen after a step when these are well, of what is wrong now."""
    if well == (REST,):
        return _SOME
    if len(well) == len(wrong):
        return ALL_WELL
    return ", ".join(names.get(id_, id_) for id_ in well) + " well" if well else NOTHING


def stay_words(well: tuple[str, ...], wrong: tuple[str, ...], names: Mapping[str, str]) -> str:
    """The same of a unit that is well by now: what goes again, of what was wrong, while a link is moved."""
    if well == (REST,):
        return "some of it goes again"
    gone = [id_ for id_ in wrong if id_ not in well]
    if not gone:
        return "all of it stays well"
    return "all of it goes again" if not well else f"gone again: {', '.join(names.get(id_, id_) for id_ in gone)}"


def why_look(outcomes: Sequence[Outcome], profile: Profile) -> str:
    """Of an observation: one sentence per answer."""
    return " ".join(
        f'"{each.words.capitalize()}" ({_of_100(each.probability)} of 100) {_points(each, profile)}{_then(each)}.'
        for each in outcomes
    )


def why_step(outcomes: Sequence[Outcome], profile: Profile) -> str:
    """Of a step: what it mends, and where the unit stands if nothing changes."""
    slip = sum(each.slip for each in outcomes)
    whole = sum(each.probability for each in outcomes if each.mended) - slip
    same = next((each for each in outcomes if each.words == NOTHING), None)
    part = 1 - whole - slip - (same.probability if same else 0.0)
    more = f", and part of it in {_of_100(part)} more" if part >= _LEAST_SAID else ""
    first = f"It makes the unit well in {_of_100(whole)} of 100 cases like this{more}."
    if slip >= _LEAST_SAID:
        first += f" In {_of_100(slip)} no part is at fault, and what was found wrong was a mistake."
    if same is None:
        return first
    second = f"If nothing changes ({_of_100(same.probability)} of 100), that {_points(same, profile)}{_then(same)}."
    return f"{first} {second}"


def why_same(outcomes: Sequence[Outcome], profile: Profile) -> str:
    """Of a capture that is only repeated, or taken while a link is moved: whether the fault comes and goes."""
    back = next((each for each in outcomes if each.mended), None)
    same = next((each for each in outcomes if each.words == NOTHING), None)
    told = (("all of it is well then", ", for it comes and goes: that", back), ("nothing changes", ", that", same))
    return " ".join(
        f"If {words} ({_of_100(each.probability)} of 100){so} {_points(each, profile)}."
        for words, so, each in told
        if each is not None
    )


def why_stay(outcomes: Sequence[Outcome], profile: Profile) -> str:
    """Of a link that is moved once more, of a unit that is well by now: what it means when something goes, or not."""
    gone = [each for each in outcomes if not each.mended]
    stays = next((each for each in outcomes if each.mended), None)
    told = []
    if gone:
        share = sum(each.probability for each in gone)
        likeliest = max(gone, key=lambda each: each.probability)
        told.append(f"If anything goes ({_of_100(share)} of 100), that {_points(likeliest, profile)}.")
    if stays is not None:
        told.append(f"If all stays well ({_of_100(stays.probability)} of 100), that {_left(stays, profile)}.")
    return " ".join(told)


def _left(stays: Outcome, profile: Profile) -> str:
    if stays.points_to == UNKNOWN_PART:
        return f"speaks for no fault being left ({min(99, max(1, round(100 * stays.chance)))}%)"
    return f"still {_points(stays, profile)}"


_LEAST_SAID = 0.005


def _of_100(chance: float) -> str:
    """A share as a whole number, never a silent 0 or 100."""
    if 0 < chance < _LEAST_SAID:
        return "fewer than 1"
    if 1 - _LEAST_SAID < chance < 1:
        return "more than 99"
    return f"{100 * chance:.0f}"


def _points(outcome: Outcome, profile: Profile) -> str:
    percent = f"{min(99, max(1, round(100 * outcome.chance)))}%"
    if outcome.was_a_mistake:
        return f"points to a mistake, or to something outside the profile ({percent})"
    if outcome.points_to == UNKNOWN_PART:
        return f"points to nothing that the profile knows ({percent})"
    names = {part.id: part.name for part in profile.parts} | {"": "software"}
    return f"points to {names.get(outcome.points_to, outcome.points_to)} ({percent})"


def _then(outcome: Outcome) -> str:
    if outcome.was_a_mistake:
        return ""
    if outcome.stops:
        return f", and stopping is then the least, at a loss of {outcome.expected_cost:.0f}"
    return f", and about {outcome.expected_cost:.0f} is then still to be spent"
