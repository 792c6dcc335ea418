"""What a step can mend and what it can break."""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

from usbwatch.model.steps import Step
from usbwatch.plan.foresight import Foresight
from usbwatch.plan.money import Prices

__all__ = ["Effects", "effects"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """Of one step; the first three fields are those of ``Proposal``."""

    mends: tuple[str, ...] = ()
    breaks: tuple[str, ...] = ()
    risk: float = 0.0
    risk_cost: float = 0.0
    """Expected cost of putting right what it breaks."""


def effects(step: Step | None, ahead: Foresight, prices: Prices) -> Effects:
    """What a step does beside what it costs; nothing for an observation.

    Where the part that it puts in is at fault, a bad new part counts as the
    old fault still there (``usbwatch.plan.foresight``), and not again here.
    """
    if step is None:
        return Effects()
    sites, where, told = ahead.beliefs.layout.sites, ahead.where, ahead.fates(step)
    chances, cost = [], 0.0
    for site, fate in zip(sites, told, strict=True):
        if fate.born > 0:
            chance = fate.born * where.sound.get(site.part, 1.0)
            mending = prices.of_cure(site.cure) if site.cure is not None else prices.never_mended
            chances.append(chance)
            cost += chance * min(mending, prices.never_mended)
    return Effects(
        mends=tuple(
            site.id for site, number in zip(where.sites, where.numbers, strict=True) if told[number].survives < 1
        ),
        breaks=tuple(site.id for site, fate in zip(sites, told, strict=True) if fate.born > 0),
        risk=1 - prod(1 - chance for chance in chances),
        risk_cost=cost,
    )
