"""What a unit has cost and brought, as far as it was recorded."""

from __future__ import annotations

from usbwatch.casebook import Story
from usbwatch.casebook.outcomes import visits
from usbwatch.model import Money
from usbwatch.show.lines import Line
from usbwatch.show.ticket import labelled
from usbwatch.show.words import sum_of

__all__ = ["money_lines", "money_said"]


def money_lines(told: Story, money: Money) -> list[Line]:
    """Spent, bench time with what it is worth, brought, and what is left: each where anything of it was recorded."""
    return labelled("money", [f"{name} {said}" for name, said in money_said(told, money)], 2, column=12)


def money_said(told: Story, money: Money) -> list[tuple[str, str]]:
    """The same as names and amounts: "spent", "270"."""
    its = visits(told)
    cost, minutes = sum(one.sums.spent for one in its), sum(one.sums.minutes for one in its)
    brought = [one.closed.brought for one in its if one.closed is not None]
    took = sum(one for one in brought if one is not None)
    work = round(minutes * money.hourly_rate / 60) if minutes and money.hourly_rate else 0
    said = [("spent", sum_of(cost, money))] if cost else []
    if minutes:
        said.append(("bench time", f"{minutes} min" + (f" (worth {sum_of(work, money)})" if work else "")))
    if any(one is not None for one in brought):
        left = took - cost - work
        said += [("brought", sum_of(took, money)), ("left" if left >= 0 else "lost", sum_of(abs(left), money))]
    return said
