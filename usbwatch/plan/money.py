"""What each thing costs, with every missing figure filled in and said."""

from __future__ import annotations

from dataclasses import dataclass

from usbwatch.model.profile import Money, Part, PartKind, Profile
from usbwatch.model.suspects import Cure, CureKind

__all__ = ["ORDER_MINUTES", "VERIFY_MINUTES", "Prices", "prices"]

VERIFY_MINUTES = 3
"""A capture and a look at it after each step (elicited, no source)."""

ORDER_MINUTES = 10
"""To find, order, await and book in a part that is bought, as bench time (elicited, no source)."""

_MINUTES = {CureKind.RELOAD: 10, CureKind.DRAIN: 5, CureKind.RESEAT: 10, CureKind.REPLACE: 30}
_COST_OF_A_PART, _COST_OF_A_LINK, _RATE = 60.0, 10.0, 30.0
"""Where a profile says nothing, in its own money (elicited, no source)."""

_REPLACED = (PartKind.SUBASSEMBLY, PartKind.LINK)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """The costs of a profile, complete."""

    rate_per_minute: float
    parts: dict[str, float]
    minutes: dict[str, int]
    given_up: float | None
    """What is lost by stopping, 0 or more; None when the profile does not tell it."""
    never_mended: float
    """What a fault costs that nothing mends: ``given_up``, or all parts of the unit together where that is not told."""
    assumed: tuple[str, ...]

    def of_minutes(self, minutes: float) -> float:
        """Bench time in money."""
        return minutes * self.rate_per_minute

    def of_cure(self, cure: Cure) -> float:
        """Part and bench time of a cure, the capture that verifies it included."""
        return self.part_of_cure(cure) + self.of_minutes(self.minutes_of_cure(cure) + VERIFY_MINUTES)

    def part_of_cure(self, cure: Cure) -> float:
        """The price of what is put in, and of ordering it."""
        if cure.kind is not CureKind.REPLACE:
            return 0.0
        return self.parts.get(cure.of, 0.0) + self.of_minutes(ORDER_MINUTES)

    def minutes_of_cure(self, cure: Cure) -> int:
        """Bench time of a cure."""
        if cure.kind in (CureKind.RESEAT, CureKind.REPLACE):
            return self.minutes.get(cure.of, _MINUTES[cure.kind])
        return _MINUTES[cure.kind]


def prices(profile: Profile) -> Prices:
    """The costs of a profile; ``assumed`` has a sentence for each figure that was put in; one below 0 is none."""
    assumed: list[str] = []
    parts = {part.id: _price(part, profile, assumed) for part in profile.parts if part.kind in _REPLACED}
    rate = _given(profile.money.hourly_rate)
    if rate is None:
        assumed.append(f"No hourly rate is given: {_RATE:g} was put in.")
    given_up = _lost_by_stopping(profile.money, assumed)
    if given_up is None:
        assumed.append(
            "What the unit is worth, working and as it is, is not given: stopping was not weighed, and a fault that "
            f"nothing mends was put at the price of all parts, {sum(parts.values()):g}."
        )
    return Prices(
        rate_per_minute=(_RATE if rate is None else rate) / 60,
        parts=parts,
        minutes={part.id: part.minutes for part in profile.parts if part.minutes is not None and part.minutes >= 0},
        given_up=given_up,
        never_mended=sum(parts.values()) if given_up is None else given_up,
        assumed=tuple(assumed),
    )


def _given(figure: float | None) -> float | None:
    return None if figure is None or figure < 0 else float(figure)


def _usual(profile: Profile) -> float:
    """The price of a subassembly that has none: the median of those that have."""
    known = [_given(part.cost) for part in profile.parts if part.kind is PartKind.SUBASSEMBLY]
    costs = [cost for cost in known if cost is not None]
    from statistics import median  # seldom needed, and it brings half a dozen modules along

    return float(median(costs)) if costs else _COST_OF_A_PART


def _price(part: Part, profile: Profile, assumed: list[str]) -> float:
    given = _given(part.cost)
    if given is not None:
        return given
    is_link = part.kind is PartKind.LINK
    price = _COST_OF_A_LINK if is_link else _usual(profile)
    if part.cost is not None or not is_link:  # many links have no price: they are reseated, or go with a board
        wrong = f"The cost of {part.name} is below 0" if part.cost is not None else f"No cost is given for {part.name}"
        assumed.append(f"{wrong}: {price:g} was put in.")
    return price


def _lost_by_stopping(money: Money, assumed: list[str]) -> float | None:
    """The value of the working unit less the best that this one brings, as it is or in parts."""
    as_is, in_parts = _given(money.value_as_is), _given(money.value_parts)
    working = _given(money.value_working)
    unmended = [value for value in (as_is, in_parts) if value is not None]
    if working is None or not unmended:
        return None
    if max(unmended) >= working:
        assumed.append("By its profile the unit is worth no more when it works than now: no repair pays.")
    return max(0.0, working - max(unmended))
