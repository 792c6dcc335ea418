"""Which suspects no capture can tell apart, and the cheapest thing that would."""

from __future__ import annotations

from dataclasses import dataclass

from usbwatch.model import Action, Plan, Proposal, Suspects

__all__ = ["LEAST_PROBABILITY", "Alike", "alike"]

LEAST_PROBABILITY = 0.03
"""A weaker suspect is in no group: there is nothing to choose."""

_TELLING_BITS = 0.15
"""From this expected information on a proposal counts as telling suspects apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """Parts that explain the same, leave the same, and have the same against them."""

    parts: tuple[str, ...]
    """Likeliest first; "" for software."""
    cheapest: Proposal | None = None
    """The proposal of least cost that would tell them apart."""


def alike(suspects: Suspects, plan: Plan) -> tuple[Alike, ...]:
    """Every group of two or more, the likeliest first."""
    groups: dict[tuple[tuple[str, ...], ...], list[str]] = {}
    for one in suspects.parts:
        if one.explains and one.probability >= LEAST_PROBABILITY:
            groups.setdefault((one.explains, one.leaves, one.against), []).append(one.part)
    several = [tuple(parts) for parts in groups.values() if len(parts) > 1]
    return tuple(Alike(parts=parts, cheapest=_cheapest(parts, plan)) for parts in several if not _seen(parts, plan))


def _seen(parts: tuple[str, ...], plan: Plan) -> bool:
    """Whether a capture could tell them apart after all: one that sees what none has seen so far."""
    return any(one.action in (Action.LOOK, Action.REPEAT) and _tells(one, parts) for one in plan.proposals)


def _cheapest(parts: tuple[str, ...], plan: Plan) -> Proposal | None:
    telling = [one for one in plan.proposals if _tells(one, parts)]
    return min(telling, key=lambda one: (one.cost, -one.information_bits), default=None)


def _tells(proposal: Proposal, parts: tuple[str, ...]) -> bool:
    """Whether its outcomes point to different parts, one of these among them, and not by a hair."""
    pointed = {one.points_to for one in proposal.outcomes}
    return proposal.information_bits >= _TELLING_BITS and len(pointed) > 1 and bool(pointed.intersection(parts))
