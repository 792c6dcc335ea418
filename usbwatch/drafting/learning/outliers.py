"""Captures that are not as the others: units that were not healthy, and helper devices left in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.drafting.learning.merging import Candidate
from usbwatch.drafting.learning.readings import Readings
from usbwatch.drafting.learning.sightings import Role, Thing
from usbwatch.drafting.learning.standing import ABSENT
from usbwatch.drafting.learning.table import Table
from usbwatch.drafting.learning.values import LearntDevice, Outlier, OutlierKind, Standing
from usbwatch.drafting.learning.words import called as in_words
from usbwatch.profile.faults import quoted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from usbwatch.drafting.learning.table import Flags, Numbers

__all__ = ["Kept", "called", "expected_rows", "helpers", "unhealthy"]

Kept = tuple[LearntDevice, Candidate, Readings]
"""What was learnt of a device, what it was learnt from, and how it showed."""

_MOST_REASONS = 8


def called(device: LearntDevice) -> str:
    """A device in words: what a technician calls it, else its name, and its usual place."""
    if not device.function and device.name:
        return f"{quoted(device.name)} at {device.places[0].text}"
    return in_words(device)


def expected_rows(device: LearntDevice, candidate: Candidate, table: Table) -> Flags:
    """The captures that should show a device: those of its variant, and of versions that do not hide it."""
    import numpy as np

    due = np.full(table.rows, device.standing is not Standing.OPTIONAL)
    name = device.told_by
    for version in ("kernel", "bios_version"):
        hides = candidate.weighed.chances.get(version, 0.0) > candidate.weighed.chances["mandatory"]
        name = version if device.standing is Standing.MANDATORY and hides else name
    if name and name in candidate.weighed.having:
        due &= np.isin(table.keys[name].of, sorted(candidate.weighed.having[name]))
    return due


def unhealthy(kept: Sequence[Kept], table: Table) -> tuple[Outlier, ...]:
    """The captures that lack what their unit should have, or show less of it than others do."""
    import numpy as np

    reasons: dict[int, list[str]] = {}
    for device, candidate, read in kept:
        what = called(device)
        have = "unit has" if device.support.there == 1 else "units have"
        lost = (candidate.states == ABSENT) & expected_rows(device, candidate, table)
        for row in np.flatnonzero(lost).tolist():
            reasons.setdefault(row, []).append(f"{what} is not there; {device.support.there} {have} it")
        for row in _failed(candidate, table).tolist():
            reasons.setdefault(row, []).append(f"{what} is attached and failed")
        for row, low in sorted(read.low.items()):
            reasons.setdefault(row, []).append(f"{what} {' and '.join(low)}")
        for thing in candidate.odd:
            for row in table.columns[thing].rows.tolist():
                says = f"says that it is {quoted(thing.identity)}" if thing.identity else "does not tell its identity"
                reasons.setdefault(row, []).append(f"what stands for {what} {says}")
    return tuple(
        Outlier(
            name=table.names[row],
            kind=OutlierKind.NOT_HEALTHY,
            reasons=_short([*sorted(told), *(f"its kernel's log tells of {one}" for one in table.troubles[row])]),
        )
        for row, told in sorted(reasons.items())
    )


def _short(reasons: list[str]) -> tuple[str, ...]:
    more = len(reasons) - _MOST_REASONS
    return tuple(reasons) if more <= 0 else (*reasons[:_MOST_REASONS], f"and {more} more")


def _failed(candidate: Candidate, table: Table) -> Numbers:
    """Captures in which something is attached at a place of a device and is no device, and none stands elsewhere."""
    import numpy as np

    places = {one.place for one in candidate.stands}
    failing = np.array([bool(places & one.failing) for one in table.visions])
    there = np.zeros(table.rows, dtype=np.bool_)
    for one in candidate.stands:
        there[one.rows] = True
    return np.flatnonzero(failing[table.vision] & ~there).astype(np.int64)


def helpers(things: Iterable[Thing], strays: Iterable[Candidate], table: Table) -> tuple[Outlier, ...]:
    """The captures with a helper device: one that they place outside themselves, or one that counting gives away."""
    reasons: dict[int, list[str]] = {}
    for thing in things:
        column = table.columns[thing]
        for row, number in zip(column.rows.tolist(), column.manners.tolist(), strict=True):
            manner = table.manners[number]
            if manner.role is Role.OUTSIDE:
                reasons.setdefault(row, []).append(f"{_named(thing, manner.name)} is in a socket, or beyond one")
    for candidate in strays:
        why = _why_stray(candidate)
        for thing in candidate.things:
            column = table.columns[thing]
            for row, number in zip(column.rows.tolist(), column.manners.tolist(), strict=True):
                reasons.setdefault(row, []).append(f"{_named(thing, table.manners[number].name)} {why}")
    return tuple(
        Outlier(name=table.names[row], kind=OutlierKind.HELPER, reasons=_short(sorted(told)))
        for row, told in sorted(reasons.items())
    )


def _named(thing: Thing, name: str) -> str:
    return f"{quoted(name) if name else thing.identity or 'something'} at {thing.place}"


def _why_stray(candidate: Candidate) -> str:
    if all(one.socket for one in candidate.stands):
        return "is where other captures have a socket"
    if candidate.roams:
        return "stands now here, now there, and nothing says that it is inside"
    return "is in few captures, and nothing says that it is inside"
