"""What differs between units by the version of firmware or kernel alone.

Of each device: where it is, how far it gets, what it is called, which driver
holds it. A difference counts where a version tells it better than chance does
and better than the other strings and the device's own identity do.
"""

from __future__ import annotations

from collections import Counter
from math import log
from typing import TYPE_CHECKING

from usbwatch.drafting.learning.assumptions import STRAY
from usbwatch.drafting.learning.evidence import any_shares, chances, explains, together
from usbwatch.drafting.learning.merging import Candidate
from usbwatch.drafting.learning.readings import Shown
from usbwatch.drafting.learning.standing import ABSENT, PRESENT
from usbwatch.drafting.learning.table import KEY_NAMES, Key, Table
from usbwatch.drafting.learning.values import Difference

if TYPE_CHECKING:
    from usbwatch.drafting.learning.table import Numbers

__all__ = ["differences", "excused_rows"]

VERSIONS = ("kernel", "bios_version")
_MOST_VALUES = 12
"""Of more different readings none is a version's."""
_SURE = 0.8
_TELLERS = {"kernel": 0.2, "bios_version": 0.15, "identity": 0.15, "place": 0.1, "flaw": 0.2, "free": 0.1}
"""What can tell a reading, and how likely each is to, before counting; the rest is shared by the other strings."""


def differences(number: int, candidate: Candidate, seen: Shown, table: Table) -> tuple[Difference, ...]:
    """The differences of one device that a version explains."""
    found = []
    for what, values in _readings(candidate, seen, table):
        by = _teller(values, seen.rows, table, candidate, by_place=what != "place")
        if by in VERSIONS:
            found.append(_difference(number, what, table.keys[by], values, seen.rows))
    presence = _of_presence(number, candidate, table)
    return (*found, presence) if presence is not None else tuple(found)


def _readings(candidate: Candidate, seen: Shown, table: Table) -> tuple[tuple[str, list[str]], ...]:
    import numpy as np

    place = np.full(table.rows, "", dtype=object)
    for one in candidate.stands:
        place[one.rows] = one.place
    return (
        ("place", place[seen.rows].tolist()),
        ("rung", seen.each(lambda manner: manner.rung)),
        ("function", seen.each(lambda manner: manner.function)),
        ("driver", seen.each(lambda manner: manner.driver)),
        ("name", seen.each(lambda manner: manner.name)),
    )


def excused_rows(candidate: Candidate, seen: Shown, table: Table) -> frozenset[int]:
    """Rows whose kernel or firmware takes the device less far than others do."""
    rungs = seen.each(lambda manner: manner.rung)
    by = _teller(rungs, seen.rows, table, candidate)
    if by not in VERSIONS:
        return frozenset()
    from usbwatch.model import Rung

    usual = _usual_by_value(rungs, table.keys[by].of[seen.rows])
    best = max(usual.values(), key=lambda rung: Rung(rung).height)
    poor = {value for value, rung in usual.items() if rung != best}
    return frozenset(row for row in seen.rows.tolist() if int(table.keys[by].of[row]) in poor)


def _usual_by_value(readings: list[str], values: Numbers) -> dict[int, str]:
    counted: dict[int, Counter[str]] = {}
    for value, reading in zip(values.tolist(), readings, strict=True):
        counted.setdefault(value, Counter())[reading] += 1
    return {value: min(one.items(), key=lambda pair: (-pair[1], pair[0]))[0] for value, one in counted.items()}


def _teller(readings: list[str], rows: Numbers, table: Table, candidate: Candidate, *, by_place: bool = True) -> str:
    """What tells a reading: a key, ``identity``, ``place``, ``flaw`` or ``free``; "" where all read alike."""
    kinds = sorted(set(readings))
    if not 1 < len(kinds) <= _MOST_VALUES:
        return ""
    import numpy as np

    number = {kind: position for position, kind in enumerate(kinds)}
    read = np.array([number[one] for one in readings], dtype=np.int64)
    others = [name for name in KEY_NAMES if name not in VERSIONS]
    share = (1 - sum(_TELLERS.values())) / len(others)
    counts = np.bincount(read, minlength=len(kinds)).tolist()
    logs = {
        "flaw": log(_TELLERS["flaw"]) + together(_flaw(counts)),
        "free": log(_TELLERS["free"]) + any_shares(counts),
        "identity": log(_TELLERS["identity"]) + _told(_identity(rows, table, candidate), read, len(kinds)),
        "place": log(_TELLERS["place"]) + _told(_place(rows, table, candidate), read, len(kinds)),
    }
    if not by_place:
        del logs["place"]
    for name in KEY_NAMES:
        told = _told(table.keys[name].of[rows], read, len(kinds))
        logs[name] = log(_TELLERS.get(name, share)) + told
    found = chances(logs)
    best = max(sorted(found), key=lambda name: found[name])
    return best if found[best] >= _SURE else "free"


def _flaw(counts: list[int]) -> list[float]:
    """All read alike but for flaws."""
    whole = sum(counts)
    return [-log(len(counts)) + explains(whole - count, count, STRAY) for count in counts]


def _identity(rows: Numbers, table: Table, candidate: Candidate) -> Numbers:
    import numpy as np

    of = np.zeros(table.rows, dtype=np.int64)
    number = {
        identity: position for position, identity in enumerate(sorted({one.identity for one in candidate.things}))
    }
    for thing in candidate.things:
        of[table.columns[thing].rows] = number[thing.identity]
    return of[rows]


def _place(rows: Numbers, table: Table, candidate: Candidate) -> Numbers:
    import numpy as np

    of = np.zeros(table.rows, dtype=np.int64)
    for number, one in enumerate(candidate.stands):
        of[one.rows] = number
    return of[rows]


def _told(values: Numbers, read: Numbers, kinds: int) -> float:
    """How well "each value has one reading" explains; a value is as likely to have each."""
    import numpy as np

    counted = np.zeros((int(values.max()) + 1, kinds), dtype=np.int64)
    np.add.at(counted, (values, read), 1)
    rows, times = np.unique(counted[counted.sum(axis=1) > 0], axis=0, return_counts=True)
    whole = 0.0
    for row, count in zip(rows.tolist(), times.tolist(), strict=True):
        here = sum(row)
        whole += count * together([-log(kinds) + explains(here - yes, yes, STRAY) for yes in row])
    return whole


def _difference(number: int, what: str, key: Key, readings: list[str], rows: Numbers) -> Difference:
    counted = Counter(zip(key.of[rows].tolist(), readings, strict=True))
    usual = _usual_by_value(readings, key.of[rows])
    values = tuple(
        (key.written[value], reading, count)
        for (value, reading), count in sorted(counted.items())
        if usual[value] == reading
    )
    return Difference(device=number, what=what, by=key.name, values=values)


def _of_presence(number: int, candidate: Candidate, table: Table) -> Difference | None:
    """A device that all units have and that some version does not show."""
    weighed = candidate.weighed
    hidden = {name: weighed.chances[name] for name in VERSIONS if name in weighed.having}
    by = max(sorted(hidden), key=lambda name: hidden[name], default="")
    if not by or not candidate.mandatory or hidden[by] < weighed.mandatory / 2:
        return None
    import numpy as np

    key = table.keys[by]
    values = []
    for value in range(len(key.values)):
        here = candidate.states[key.of == value]
        there, absent = int(np.count_nonzero(here == PRESENT)), int(np.count_nonzero(here == ABSENT))
        if there + absent:
            has = value in weighed.having[by]
            values.append((key.written[value], "there" if has else "absent", there if has else absent))
    return Difference(device=number, what="presence", by=by, values=tuple(values))
