"""What a unit has cost and brought, as far as it was recorded."""

from __future__ import annotations

from usbwatch.casebook import Story
from usbwatch.model import Money
from usbwatch.model.history import Closed, Noted, Opened, Reopened, StepDone
from usbwatch.show.lines import Line
from usbwatch.show.ticket import labelled
from usbwatch.show.words import sum_of

__all__ = ["bench_minutes", "money_lines", "spent"]


def spent(told: Story) -> int:
    """What was paid for the unit and its parts, in whole units of the shop's currency; bench time is not in it."""
    total = 0
    for each in told.standings:
        fact = each.fact
        if isinstance(fact, (Opened, Reopened)):
            total += fact.intake.paid or 0
        elif isinstance(fact, (StepDone, Noted)):
            total += fact.cost or 0
    return total


def bench_minutes(told: Story) -> int:
    """The bench time that was recorded."""
    return sum(each.fact.minutes or 0 for each in told.standings if isinstance(each.fact, (StepDone, Noted)))


def money_lines(told: Story, money: Money) -> list[Line]:
    """Spent, bench time with what it is worth, brought, and what is left: each where anything of it was recorded."""
    cost, minutes = spent(told), bench_minutes(told)
    brought = [each.fact.brought for each in told.standings if isinstance(each.fact, Closed)]
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
