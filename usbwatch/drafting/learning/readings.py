"""What healthy units show of one device: rung, speed, link, names; and which captures show less."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from usbwatch.drafting.learning.merging import Candidate
from usbwatch.drafting.learning.sightings import Manner, Role
from usbwatch.drafting.learning.stands import is_flaw
from usbwatch.drafting.learning.table import Table
from usbwatch.drafting.purposes import assumed_keyboard
from usbwatch.drafting.wellness import stopped
from usbwatch.model import Rung

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from usbwatch.drafting.learning.table import Numbers

__all__ = ["Readings", "Shown", "readings", "shown", "usual"]

_Value = TypeVar("_Value", str, int, float, bool)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """How a device showed, in each capture that counts it as a device."""

    rows: Numbers
    manners: Numbers
    table: Table

    def each(self, read: Callable[[Manner], _Value]) -> list[_Value]:
        """One reading of all captures."""
        by_number = {number: read(self.table.manners[number]) for number in set(self.manners.tolist())}
        return [by_number[number] for number in self.manners.tolist()]


def shown(candidate: Candidate, table: Table) -> Shown:
    """How a device showed, by row."""
    import numpy as np

    columns = [table.columns[thing] for thing in candidate.things]
    rows = np.concatenate([column.rows for column in columns])
    manners = np.concatenate([column.manners for column in columns])
    kept = np.array([one.role in (Role.INSIDE, Role.UNSURE) for one in table.manners])[manners]
    order = np.argsort(rows[kept], kind="stable")
    return Shown(rows=rows[kept][order], manners=manners[kept][order], table=table)


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What a profile says of a healthy one."""

    reaches: Rung
    speed_mbps: int | None
    lanes: int | None
    link_gts: float | None
    function: str
    evidence: str
    name: str
    driver: str
    lid: bool
    low: dict[int, tuple[str, ...]]
    """By row: what of it shows less than healthy ones do, a phrase each."""
    unwell: frozenset[int]
    """Rows in which it shows what no good unit shows: they are no evidence of healthy ones."""
    doubt: str
    """As in ``LearntDevice``."""


def readings(candidate: Candidate, seen: Shown, *, excused: frozenset[int]) -> Readings:
    """What healthy ones show. ``excused`` are rows whose kernel does not take the device as far as others do."""
    rungs = seen.each(lambda manner: Rung(manner.rung).height)
    part_way = _part_way(candidate.bus, seen) - excused
    if len(part_way) == len(set(seen.rows.tolist())):
        part_way = frozenset()  # nothing shows how far a healthy one gets
    not_well = part_way | excused
    counted = [height for row, height in zip(seen.rows.tolist(), rungs, strict=True) if row not in not_well]
    height = _healthy(counted or rungs) or 0
    reaches = next(rung for rung in Rung if rung.height == height)
    speeds = seen.each(lambda manner: manner.speed_mbps)
    lanes = seen.each(lambda manner: manner.lanes)
    gts = seen.each(lambda manner: manner.link_gts)
    low: dict[int, tuple[str, ...]] = {}
    for form, values, spared in (
        (_RUNG, rungs, excused),
        ("runs at {} Mbit/s of {}", speeds, frozenset()),
        ("has {} lanes of {}", lanes, frozenset()),
    ):
        for row, said in _lower(form, dict(zip(seen.rows.tolist(), values, strict=True)), spared):
            low[row] = (*low.get(row, ()), said)
    for row, rung in zip(seen.rows.tolist(), rungs, strict=True):
        if row in part_way and row not in low:
            low[row] = (f"got no further than {_rung(rung)}",)
    mute = frozenset(_where(seen, lambda manner: manner.mute))
    for row in mute:
        low[row] = (*low.get(row, ()), "is in the bay, but its gauge does not talk")
    function = candidate.function
    return Readings(
        reaches=reaches,
        speed_mbps=_healthy(speeds),
        lanes=_healthy(lanes),
        link_gts=_healthy(gts),
        function=function,
        evidence=usual(_of_function(seen, function)),
        name=usual(seen.each(lambda manner: manner.name)),
        driver=usual(seen.each(lambda manner: manner.driver)),
        lid=usual(seen.each(lambda manner: "yes" if manner.lid else "no")) == "yes",
        low=low,
        unwell=part_way | mute,
        doubt=_doubt(candidate, reaches),
    )


def _where(seen: Shown, is_so: Callable[[Manner], bool]) -> Iterator[int]:
    return (row for row, so in zip(seen.rows.tolist(), seen.each(is_so), strict=True) if so)


def _part_way(bus: str, seen: Shown) -> frozenset[int]:
    """Rows in which it got less far than one of its kind does with a driver."""
    return frozenset(_where(seen, lambda manner: stopped(bus, manner.function, Rung(manner.rung))))


def _doubt(candidate: Candidate, reaches: Rung) -> str:
    if all(assumed_keyboard(candidate.function, one.place) for one in candidate.stands):
        return "the kernel assumes it on its PS/2 port without asking, so nothing shows that it is there"
    if stopped(candidate.bus, candidate.function, reaches):
        return (
            f"it got no further than {reaches.value} in any capture, and that is taken for healthy: make sure"
            " that its driver is there, and that these are good units"
        )
    return ""


def _of_function(seen: Shown, function: str) -> list[str]:
    """The evidence of those captures that tell the function."""
    told = seen.each(lambda manner: manner.evidence if manner.function == function else "")
    return [one for one in told if one] or [""]


def usual(values: list[str]) -> str:
    """The most usual of some texts; of equal ones the first by alphabet; "" of none."""
    return min(Counter(values).items(), key=lambda pair: (-pair[1], pair[0]), default=("", 0))[0]


def _healthy(values: list[_Value]) -> _Value | None:
    """The highest value below which no more are than flaws explain; None where nothing is known."""
    known = [value for value in values if value]
    above = 0
    for value, count in sorted(Counter(known).items(), reverse=True):
        above += count
        if above == len(known) or is_flaw(len(known) - above, above):
            return value
    return None


_RUNG = "reaches {} of {}"


def _lower(form: str, values: dict[int, int], spared: frozenset[int]) -> Iterator[tuple[int, str]]:
    """The rows whose value is known and below the healthy one, with a phrase that says so."""
    counted = {row: value for row, value in values.items() if row not in spared}
    healthy = _healthy(list(counted.values())) or 0
    for row, value in counted.items():
        if 0 < value < healthy:
            words = [_rung(one) if form is _RUNG else str(one) for one in (value, healthy)]
            yield row, form.format(*words)


def _rung(height: int) -> str:
    return next(rung.value for rung in Rung if rung.height == height)
