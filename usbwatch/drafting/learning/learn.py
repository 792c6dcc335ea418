"""From many captures of a model's units to what is usual of the model.

The front is ``learn(sources)``. Captures are read one at a time and not kept.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from usbwatch.drafting.learning.evidence import wilson
from usbwatch.drafting.learning.merging import Candidate, candidates
from usbwatch.drafting.learning.models import of_one_model
from usbwatch.drafting.learning.outliers import expected_rows, helpers, unhealthy
from usbwatch.drafting.learning.readings import Readings, readings, shown
from usbwatch.drafting.learning.sightings import STRINGS, Role, Thing
from usbwatch.drafting.learning.standing import ABSENT, PRESENT, UNSEEN
from usbwatch.drafting.learning.stands import Stands, stands
from usbwatch.drafting.learning.table import Table
from usbwatch.drafting.learning.tally import Tally
from usbwatch.drafting.learning.values import (
    Counted,
    Difference,
    Learnt,
    LearntDevice,
    Outlier,
    Source,
    Standing,
    Support,
)
from usbwatch.drafting.learning.variants import companions, telling_key, variants
from usbwatch.drafting.learning.versions import differences, excused_rows
from usbwatch.drafting.learning.vision import BUSES

if TYPE_CHECKING:
    from collections.abc import Iterable

    from usbwatch.drafting.learning.table import Numbers

__all__ = ["learn"]


def learn(sources: Iterable[Source]) -> Learnt:
    """What captures of one model's units say of the model. Their order changes nothing.

    Nothing is learnt from captures of another model, of which only the name
    and the reason stay. ``Learnt.captures`` is 0 where none could be used.
    """
    tally = Tally()
    for source in sources:
        tally.add(source)
    whole = tally.table()
    table, foreign = of_one_model(whole)
    return _learnt(table, (*tally.told_twice(), *foreign))


def _learnt(table: Table, outliers: tuple[Outlier, ...]) -> Learnt:
    there = stands(table)
    found = candidates(there.stands, table) if table.rows else ()
    kept = tuple(one for one in found if not one.helper)
    strays = tuple(one for one in found if one.helper)
    devices, read, told = _devices(kept, table)
    named = unhealthy(tuple(zip(devices, kept, read, strict=True)), table)
    left_in = helpers(_outside(there), strays, table)
    days = sorted(day for day in table.days if day)
    return Learnt(
        strings=_strings(table),
        captures=table.rows,
        units=table.units,
        since=days[0] if days else "",
        until=days[-1] if days else "",
        devices=devices,
        variants=variants(devices, kept, table),
        empty_ports=_empty_ports(found, table),
        unseen_buses=_unseen_buses(table),
        differences=told,
        outliers=tuple(sorted((*outliers, *named, *left_in), key=lambda one: (one.name, one.kind.value, one.reasons))),
    )


def _unseen_buses(table: Table) -> tuple[str, ...]:
    seen = frozenset[str]().union(*(table.visions[number].seen for number in set(table.vision.tolist())))
    return tuple(bus for bus in BUSES if bus not in seen) if table.rows else ()


_MOST_PORTS = 40


def _empty_ports(found: tuple[Candidate, ...], table: Table) -> tuple[Counted, ...]:
    """Ports to which something is wired by firmware's word, and on which nothing is in any capture."""
    taken = {one.place for candidate in found for one in candidate.stands}
    empty = sorted((place, units) for place, units in table.empty_ports().items() if place not in taken)
    return tuple(Counted(text=place, units=units) for place, units in empty[:_MOST_PORTS])


def _outside(there: Stands) -> tuple[Thing, ...]:
    """Things that some capture places outside."""
    return tuple(thing for thing, roles in sorted(there.roles.items()) if roles[Role.OUTSIDE])


_MOST_VALUES = 20


def _strings(table: Table) -> dict[str, tuple[tuple[str, int], ...]]:
    found = {}
    for name in STRINGS:
        key = table.keys[name]
        counted = Counter(key.of[table.first_of_unit].tolist())
        ranked = sorted(
            ((key.written[value], count) for value, count in counted.items()), key=lambda one: (-one[1], one[0])
        )
        found[name] = tuple(one for one in ranked if one[0])[:_MOST_VALUES]
    return found


def _devices(
    kept: tuple[Candidate, ...], table: Table
) -> tuple[tuple[LearntDevice, ...], tuple[Readings, ...], tuple[Difference, ...]]:
    devices: list[LearntDevice] = []
    read: list[Readings] = []
    told: list[Difference] = []
    for number, candidate in enumerate(kept):
        seen = shown(candidate, table)
        its = readings(candidate, seen, excused=excused_rows(candidate, seen, table))
        of_it = differences(number, candidate, seen, table)
        read.append(its)
        told.extend(of_it)
        devices.append(_device(candidate, its, of_it, kept, table))
    optional = [number for number, one in enumerate(devices) if one.standing is Standing.OPTIONAL]
    for number in optional:
        devices[number] = replace(devices[number], goes_with=companions(number, optional, kept, table))
    return tuple(devices), tuple(read), tuple(told)


_SAYS_BY_FIRMWARE = frozenset({"acpi", "i2c", "spi", "serio"})


def _device(
    candidate: Candidate, read: Readings, of_it: tuple[Difference, ...], among: tuple[Candidate, ...], table: Table
) -> LearntDevice:
    standing, told_by, values = _standing(candidate, among, table)
    by_firmware = any(one.what == "presence" and one.by == "bios_version" for one in of_it)
    names = tuple(sorted({one.identity for one in candidate.things if one.identity}))
    device = LearntDevice(
        function=read.function,
        evidence=read.evidence,
        bus=candidate.bus,
        name=read.name,
        driver=read.driver,
        standing=standing,
        support=Support(there=0, of=0, low=0.0, high=1.0, sure=0.0),
        places=_places(candidate, table),
        identities=_identities(candidate, table),
        reaches=read.reaches,
        speed_mbps=read.speed_mbps,
        lanes=read.lanes,
        link_gts=read.link_gts,
        in_display_half=read.lid,
        inside=candidate.inside,
        doubt=read.doubt,
        firmware_names=names if by_firmware and candidate.bus in _SAYS_BY_FIRMWARE else (),
        told_by=told_by,
        values=values,
    )
    return replace(device, support=_support(device, candidate, table, read.unwell))


def _standing(
    candidate: Candidate, among: tuple[Candidate, ...], table: Table
) -> tuple[Standing, str, tuple[str, ...]]:
    if candidate.mandatory:
        return Standing.MANDATORY, "", ()
    key = telling_key(candidate, (one for one in among if not one.mandatory))
    if not key:
        return Standing.OPTIONAL, "", ()
    written = table.keys[key].written
    return Standing.VARIANT, key, tuple(written[value] for value in sorted(candidate.weighed.having[key]))


def _support(device: LearntDevice, candidate: Candidate, table: Table, unwell: frozenset[int]) -> Support:
    """Counted over the units that should have it; for an optional one over all. Unwell ones are no evidence."""
    import numpy as np

    if device.standing is Standing.OPTIONAL:
        due = np.ones(table.rows, dtype=np.bool_)
    else:
        due = expected_rows(device, candidate, table)
    well = due.copy()
    well[sorted(unwell)] = False
    units = table.by_unit(np.where(well, candidate.states, UNSEEN))
    in_any = table.by_unit(np.where(due, candidate.states, UNSEEN))
    ill = int(np.count_nonzero((in_any == PRESENT) & (units != PRESENT)))
    there = int(np.count_nonzero(units == PRESENT))
    of = there + int(np.count_nonzero((units == ABSENT) & (in_any != PRESENT)))
    weighed = candidate.weighed
    sure = {
        Standing.MANDATORY: weighed.mandatory,
        Standing.VARIANT: sum(weighed.keyed.values()),
        Standing.OPTIONAL: sum(weighed.keyed.values()) + weighed.free,
    }[device.standing]
    asked = len(set(table.unit[due].tolist()))
    low, high = wilson(there, of)
    return Support(there=there, of=of, unseen=asked - of - ill, unwell=ill, low=low, high=high, sure=min(sure, 1.0))


def _units(rows: Numbers, table: Table) -> int:
    return len(set(table.unit[rows].tolist()))


def _places(candidate: Candidate, table: Table) -> tuple[Counted, ...]:
    told = {name: chance for name, chance in candidate.places_told.items() if name != "free"}
    by = max(sorted(told), key=lambda name: told[name], default="")
    by = by if by and sum(told.values()) > 1 / 2 else ""
    values = _values_of_places(candidate, by, table) if by else {}
    return tuple(
        Counted(text=one.place, units=_units(one.rows, table), told_by=by, values=values.get(number, ()))
        for number, one in enumerate(candidate.stands)
    )


def _values_of_places(candidate: Candidate, by: str, table: Table) -> dict[int, tuple[str, ...]]:
    key = table.keys[by]
    counted: dict[int, Counter[int]] = {}
    for number, one in enumerate(candidate.stands):
        for value in key.of[one.rows].tolist():
            counted.setdefault(value, Counter())[number] += 1
    found: dict[int, tuple[str, ...]] = {}
    for value, places in sorted(counted.items()):
        usual = min(places.items(), key=lambda pair: (-pair[1], pair[0]))[0]
        found[usual] = (*found.get(usual, ()), key.written[value])
    return found


def _identities(candidate: Candidate, table: Table) -> tuple[Counted, ...]:
    import numpy as np

    rows: dict[str, list[Numbers]] = {}
    for thing in candidate.things:
        if thing.identity:
            rows.setdefault(thing.identity, []).append(table.columns[thing].rows)
    counted = {identity: _units(np.concatenate(parts), table) for identity, parts in rows.items()}
    ranked = sorted(counted.items(), key=lambda pair: (-pair[1], pair[0]))
    return tuple(Counted(text=identity, units=units) for identity, units in ranked)
