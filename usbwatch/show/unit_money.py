"""What a unit has cost and brought, as far as it was recorded."""

from __future__ import annotations

from usbwatch.casebook import Story
from usbwatch.casebook.outcomes import visits
from usbwatch.model import Money
from usbwatch.show.lines import Line
from usbwatch.show.ticket import labelled
from usbwatch.show.words import sum_of

__all__ = ["money_lines"]


def money_lines(told: Story, money: Money) -> list[Line]:
    """Spent, bench time with what it is worth, brought, and what is left: each where anything of it was recorded."""
    its = visits(told)
    cost, minutes = sum(one.sums.spent for one in its), sum(one.sums.minutes for one in its)
    brought = [one.closed.brought for one in its if one.closed is not None]
    took = sum(one for one in brought if one is not None)
    said = [f"spent {sum_of(cost, money)}"] if cost else []
    work = 0
    if minutes:
        work = round(minutes * money.hourly_rate / 60) if money.hourly_rate else 0
        said.append(f"bench time {minutes} min" + (f" (worth {sum_of(work, money)})" if work else ""))
    if any(one is not None for one in brought):
        said += [f"brought {sum_of(took, money)}", _left(took - cost - work, money)]
    return labelled("money", said, 2, column=12)


def _left(left: int, money: Money) -> str:
    return f"left {sum_of(left, money)}" if left >= 0 else f"lost {sum_of(-left, money)}"
