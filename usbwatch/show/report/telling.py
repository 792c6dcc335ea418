"""What became of the unit before: its history, its baseline, its money."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from usbwatch.casebook import Standing, Story
from usbwatch.model import DeviceSince, Fitted, Money, Profile, SinceBaseline, Wear
from usbwatch.model.history import Closed, Entry, Noted, Opened, Recorded, Reopened, StepDone
from usbwatch.show.harness import stubs
from usbwatch.show.report.value import Event, Fact, SinceRow
from usbwatch.show.safe import safe
from usbwatch.show.unit_entry import entry_words
from usbwatch.show.unit_money import money_said

__all__ = ["events", "money_facts", "since_rows", "since_title", "wear_facts", "without_money"]

_UNIT = {"unit": "The unit's own serial number", "board": "Board (as firmware names it)"}
"""What is no expected device."""


def events(told: Story | None, profile: Profile, local: Callable[[str], str]) -> tuple[Event, ...]:
    """Every entry as it stands, in the order in which it happened."""
    return tuple(_event(one, profile, local) for one in told.standings) if told is not None else ()


def _event(standing: Standing, profile: Profile, local: Callable[[str], str]) -> Event:
    fact = standing.entry.fact if standing.fact is None else standing.fact
    what, *said = entry_words(fact, profile)
    mark = "withdrawn" if standing.fact is None else "amended" if standing.amendments else ""
    return Event(when=local(standing.entry.at)[:16], what=what, said=tuple(said), mark=mark)


def without_money(told: Story) -> Story:
    """The same history without prices, costs and what was brought."""
    return replace(
        told,
        standings=tuple(replace(one, fact=_priceless(one.fact), entry=_without(one.entry)) for one in told.standings),
    )


def _without(entry: Entry) -> Entry:
    fact = _priceless(entry.fact)
    return entry if fact is None else replace(entry, fact=fact)


def _priceless(fact: Recorded | None) -> Recorded | None:
    if isinstance(fact, (Opened, Reopened)):
        return replace(fact, intake=replace(fact.intake, paid=None))
    if isinstance(fact, (StepDone, Noted)):
        return replace(fact, cost=None)
    return replace(fact, brought=None) if isinstance(fact, Closed) else fact


def money_facts(told: Story | None, money: Money) -> tuple[Fact, ...]:
    """What was spent and brought, as far as it was recorded."""
    return tuple(Fact(name=name, said=said) for name, said in money_said(told, money)) if told is not None else ()


def since_title(since: SinceBaseline | None, local: Callable[[str], str]) -> str:
    """What the comparison is with: "Since the baseline of 2026-03-06 (186 days)"."""
    if since is None:
        return ""
    days = f" ({since.days} days)" if since.days is not None and since.days >= 0 else ""
    return f"Since the baseline of {local(since.taken_at)[:10] or 'an unknown day'}{days}"


def since_rows(since: SinceBaseline | None, profile: Profile) -> tuple[SinceRow, ...]:
    """What is not as it was fitted first, then what is the same, then what cannot be told."""
    if since is None:
        return ()
    order = list(Fitted)
    homes = {device.id: stub.part.name for stub in stubs(profile) if stub.part for device in stub.devices}
    names = {device.id: device.name for device in profile.devices} | _UNIT
    rows = sorted((*since.unit, *since.devices), key=lambda one: _RANK.get(one.fitted, order.index(one.fitted)))
    return tuple(
        SinceRow(
            name=safe(names.get(one.device, one.device), 60),
            fitted=one.fitted,
            said="; ".join(_said(one)),
            block=safe(homes.get(one.device, ""), 60),
        )
        for one in rows
    )


_RANK = {Fitted.ANOTHER: -4, Fitted.PERHAPS_ANOTHER: -3, Fitted.GONE: -2, Fitted.NEW: -1}


def _said(one: DeviceSince) -> Iterator[str]:
    for change in one.told_by:
        yield safe(f"{change.field}: {change.before} → {change.after}", 200)
    if one.why:
        yield safe(one.why, 200)


def wear_facts(since: SinceBaseline | None, profile: Profile) -> tuple[Fact, ...]:
    """What each battery pack holds, and what it held at the baseline where it is the same pack."""
    names = {device.id: device.name for device in profile.devices}
    packs = since.wear if since is not None else ()
    return tuple(Fact(name=safe(names.get(one.device, one.device), 60), said=_wear(one)) for one in packs)


def _wear(one: Wear) -> str:
    now = f"holds {one.full_now} of {one.design} {one.unit} ({one.percent_now}%)"
    cycles = f", {one.cycles_now} cycles" if one.cycles_now is not None else ""
    if one.full_then is None:
        return f"{now}{cycles}; nothing to compare it with"
    then = f"; at the baseline {one.full_then} {one.unit} ({one.percent_then}%)"
    before = f", {one.cycles_then} cycles" if one.cycles_then is not None else ""
    return f"{now}{cycles}{then}{before}"
