"""How units left the bench: kept beside the entries, so that a shop's experience needs not all of them read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from usbwatch.casebook.packing import raw_digest
from usbwatch.casebook.rules import storable
from usbwatch.casebook.store import Store
from usbwatch.casebook.story import Story
from usbwatch.model.history import Closed, Noted, Opened, Recorded, Reopened, StepDone

__all__ = ["Sums", "Visit", "put_outcomes", "sites_of", "visits"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """What one visit to the bench took, as far as it was recorded."""

    spent: int = 0
    """Paid for the unit and its parts, in whole units of the shop's currency."""
    minutes: int = 0
    """Bench time."""

    def with_fact(self, fact: Recorded | None) -> Sums:
        """The same with what one more fact took."""
        if isinstance(fact, (Opened, Reopened)):
            return replace(self, spent=self.spent + (fact.intake.paid or 0))
        if isinstance(fact, (StepDone, Noted)):
            return Sums(spent=self.spent + (fact.cost or 0), minutes=self.minutes + (fact.minutes or 0))
        return self


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One visit to the bench."""

    sums: Sums
    closed: Closed | None = None
    """None while it lasts."""
    number: int = 0
    """Of the entry that closed it."""


def visits(told: Story) -> tuple[Visit, ...]:
    """All visits of a unit, oldest first; what was noted after a closing counts for the next one."""
    found: list[Visit] = []
    sums = Sums()
    for each in told.standings:
        sums = sums.with_fact(each.fact)
        if isinstance(each.fact, Closed):
            found.append(Visit(sums=sums, closed=each.fact, number=each.entry.number))
            sums = Sums()
    return (*found, *([Visit(sums=sums)] if told.ending is None or sums != Sums() else []))


def sites_of(content: bytes) -> dict[str, str]:
    """By site id, its class: the list that a closing is kept with. Raises ValueError for anything else."""
    import msgspec

    try:
        return msgspec.json.decode(content, type=dict[str, str])
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise ValueError(str(error)) from None


def put_outcomes(store: Store, key: int, told: Story) -> None:
    """Write down how the unit with this key left, each time that it did; within a transaction."""
    store.do("DELETE FROM cause WHERE unit = ?", key)
    store.do("DELETE FROM outcome WHERE unit = ?", key)
    for visit in visits(told):
        if visit.closed is not None:
            _put(store, key, visit.closed, visit)


def _put(store: Store, key: int, closed: Closed, visit: Visit) -> None:
    store.do(
        "INSERT INTO outcome (unit, number, model, ending, sites, brought, spent, minutes)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        *(key, visit.number, storable(closed.model), closed.ending.value, _sites(store, closed)),
        *(closed.brought, visit.sums.spent, visit.sums.minutes),
    )
    for site, site_class in _causes(closed):
        store.do(
            "INSERT INTO cause (unit, number, site, site_class) VALUES (?, ?, ?, ?)",
            *(key, visit.number, site, site_class),
        )


def _sites(store: Store, closed: Closed) -> int | None:
    """The key of the list of all that could have failed; None where the cause is not known."""
    if not closed.cause_known or not closed.sites:
        return None
    found = store.rows("SELECT key FROM document WHERE digest = ? AND kind = 'sites'", raw_digest(closed.sites))
    return int(found[0][0]) if found else None


def _causes(closed: Closed) -> Iterator[tuple[str, str]]:
    if closed.cause_known:
        told = {storable(one.site): storable(one.site_class) for one in closed.causes}
        yield from told.items()
