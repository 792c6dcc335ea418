"""Stands at different places that are one device: its port was moved between board revisions, or is named anew.

Two stands with an identity in common, never both in one capture, are one
device where that explains the captures better than two devices do: together
they are there as often as a device is, and best of all a string tells where.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, log1p
from typing import TYPE_CHECKING

from usbwatch.drafting.learning.assumptions import NEEDED, PRIOR_INSIDE, PRIOR_NEEDED, PRIOR_UNSURE, STRAY, Prior
from usbwatch.drafting.learning.evidence import any_shares, chances, explains, together
from usbwatch.drafting.learning.sightings import Thing
from usbwatch.drafting.learning.standing import (
    ABSENT,
    PRESENT,
    UNSEEN,
    Weighed,
    keys_for,
    weigh,
)
from usbwatch.drafting.learning.stands import Stand, alike
from usbwatch.drafting.learning.table import Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from usbwatch.drafting.learning.table import Numbers

__all__ = ["Candidate", "candidates"]

_SAME_IDENTITY, _SAME_FUNCTION = 0.5, 0.1
"""How likely two stands are one device, before counting: with an identity in common; with the function alone."""
_TOLD = 0.7
"""How likely some string tells where a moved device sits, before counting."""
_MOST_COMPARED, _MOST_PARTNERS = 400, 20
"""Candidates that one stand is compared with, and of how many of these it is weighed whether it is one with them."""
_BOTH = 0.001
"""Share of captures in which both may be there by mistake (two captures' parts in one file, say)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One device, at all its places."""

    stands: tuple[Stand, ...]
    """The most usual place first."""
    states: Numbers
    """By capture."""
    weighed: Weighed
    places_told: dict[str, float]
    """For one with several places: by key, and ``free``, the probability that it tells which."""

    @property
    def bus(self) -> str:
        """The bus that it shows on."""
        return self.stands[0].bus

    @property
    def inside(self) -> bool:
        """Whether something says that it is inside the unit."""
        return any(one.inside for one in self.stands)

    @property
    def function(self) -> str:
        """What most of its captures say that it does."""
        return next((one.function for one in self.stands if one.function), "")

    @property
    def things(self) -> tuple[Thing, ...]:
        """All its identities at all its places."""
        return tuple(thing for one in self.stands for thing in one.things)

    @property
    def odd(self) -> tuple[Thing, ...]:
        """What stood in its places and was not taken for it."""
        return tuple(thing for one in self.stands for thing in one.odd)

    @property
    def roams(self) -> bool:
        """It stands now here, now there, where nothing says that the places are inside, and no string tells why."""
        return not self.inside and self.places_told.get("free", 0.0) > 1 / 2

    @property
    def moved(self) -> bool:
        """Whether a revision of the board tells at which of its places it is, and they are inside."""
        told = sum(self.places_told.get(name, 0.0) for name in ("board_version", "board_name"))
        return told > 1 / 2 and all(one.inside for one in self.stands)

    @property
    def helper(self) -> bool:
        """Whether it is somebody's own device."""
        other = max(self.weighed.mandatory, sum(self.weighed.keyed.values()) + self.weighed.free)
        return self.roams or all(one.socket for one in self.stands) or self.weighed.helper > other

    @property
    def mandatory(self) -> bool:
        """Whether every unit has to have it."""
        return not self.helper and self.weighed.mandatory >= 1 / 2


class _Known:
    """The candidates so far, by place: what carries others decides what of these could be seen."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self.at: dict[str, Candidate] = {}

    def states(self, stands: Sequence[Stand]) -> Numbers:
        """By capture: whether one of the stands is there, all their places are empty, or that is not known."""
        import numpy as np

        clear = np.ones(self.table.rows, dtype=np.bool_)
        there = np.zeros(self.table.rows, dtype=np.bool_)
        for one in stands:
            there[one.rows] = True
            way, words = self.table.way(one.place, one.bus)
            open_ = way == 0
            for number, word in enumerate(words[2:], 2):
                carrier = self.at.get(word)
                if carrier is not None:
                    elsewhere = carrier.states == PRESENT
                    not_fitted = (carrier.states == ABSENT) & (not carrier.mandatory)
                    open_ |= (way == number) & (elsewhere | not_fitted)
            clear &= open_
        return np.where(there, PRESENT, np.where(clear, ABSENT, UNSEEN)).astype(np.int64)

    def candidate(self, stands: tuple[Stand, ...]) -> Candidate:
        """The device that stands are together."""
        ranked = tuple(sorted(stands, key=lambda one: (-len(one.rows), one.place)))
        states = self.states(ranked)
        return Candidate(
            stands=ranked,
            states=states,
            weighed=weigh(states, self.table, bus=ranked[0].bus, prior=_prior(ranked)),
            places_told=chances(_placed(ranked, self.table)) if len(ranked) > 1 else {},
        )

    def fit(self, one: Candidate) -> float:
        """Logarithm of how well a candidate explains the captures."""
        return one.weighed.fit + (together(_placed(one.stands, self.table).values()) if len(one.stands) > 1 else 0.0)


def _prior(stands: Sequence[Stand]) -> Prior:
    if not any(one.inside for one in stands):
        return PRIOR_UNSURE
    return PRIOR_NEEDED if any(one.function in NEEDED for one in stands) else PRIOR_INSIDE


def candidates(stands: Iterable[Stand], table: Table) -> tuple[Candidate, ...]:
    """All devices: carriers before what they carry."""
    known = _Known(table)
    found: list[Candidate] = []
    for cluster in _clusters(stands):
        made = _merged(cluster, known)
        found += made
        known.at.update({one.place: candidate for candidate in made for one in candidate.stands})
    return tuple(found)


def _clusters(stands: Iterable[Stand]) -> list[list[Stand]]:
    """Stands on one bus that share identities or functions, directly or through others; by how far out they are."""
    home: dict[tuple[str, str], int] = {}
    clusters: dict[int, list[Stand]] = {}
    for number, stand in enumerate(stands):
        marks = _marks(stand)
        merged = [stand]
        for old in sorted({home[mark] for mark in marks if mark in home}):
            merged = clusters.pop(old) + merged
        clusters[number] = merged
        for one in merged:
            home.update(dict.fromkeys(_marks(one), number))
    return sorted(clusters.values(), key=lambda part: (max(map(_depth, part)), part[0].place, part[0].bus))


def _marks(stand: Stand) -> set[tuple[str, str]]:
    function = {(stand.bus, f"does {stand.function}")} if stand.function else set()
    return {(stand.bus, identity) for identity in stand.identities} | function


def _depth(stand: Stand) -> int:
    return stand.place.count("/") + stand.place.count(".")


def _merged(cluster: list[Stand], known: _Known) -> list[Candidate]:
    """The devices that a cluster is: the most usual stand first, each next one joins where that explains more."""
    made: list[Candidate] = []
    for stand in sorted(cluster, key=lambda one: (-len(one.rows), one.place)):
        alone = known.candidate((stand,))
        best, gain = None, 0.0
        for index, prior in _partners(stand, made, known.table):
            joined = known.candidate((*made[index].stands, stand))
            more = known.fit(joined) - known.fit(made[index]) - known.fit(alone) + log(prior / (1 - prior))
            if more > gain and (prior == _SAME_IDENTITY or joined.moved):
                best, gain = (index, joined), more
        if best is None:
            made.append(alone)
        else:
            made[best[0]] = best[1]
    return made


def _partners(stand: Stand, made: list[Candidate], table: Table) -> Iterator[tuple[int, float]]:
    """The candidates that a stand can be a further place of, by number, with how likely that is before counting."""
    found = 0
    for index, other in enumerate(made[:_MOST_COMPARED]):
        prior = _can_be_one(stand, other, table)
        if prior:
            yield index, prior
            found += 1
        if found == _MOST_PARTNERS:
            return


def _can_be_one(stand: Stand, other: Candidate, table: Table) -> float:
    """How likely a stand is a further place of a device, before counting; 0 where it cannot be."""
    import numpy as np

    if not alike(stand.function, other.function):
        return 0.0
    shared = any(stand.identities & one.identities for one in other.stands)
    if not shared and not stand.function:
        return 0.0
    both = sum(len(np.intersect1d(stand.rows, one.rows, assume_unique=True)) for one in other.stands)
    if both > _BOTH * table.rows:
        return 0.0
    return _SAME_IDENTITY if shared else _SAME_FUNCTION


def _placed(stands: Sequence[Stand], table: Table) -> dict[str, float]:
    """By key, and ``free``: logarithm of how well it explains in which units the device is at which place."""
    import numpy as np

    place = np.full(table.units, -1, dtype=np.int64)
    for number, one in enumerate(stands):
        place[table.unit[one.rows]] = number
    there = place >= 0
    counts = np.bincount(place[there], minlength=len(stands)).tolist()
    logs = {"free": log(1 - _TOLD) + any_shares(counts)}
    for name, share in keys_for(stands[0].bus).items():
        key = table.keys[name]
        told = _told(key.of[table.first_of_unit][there], place[there], len(stands), len(key.values))
        if told is not None:
            logs[name] = log(_TOLD * share) + told
    return logs


def _told(values: Numbers, place: Numbers, places: int, size: int) -> float | None:
    """How well "each value has one place" explains; None where all values have the same one."""
    import numpy as np

    counted = np.zeros((size, places), dtype=np.int64)
    np.add.at(counted, (values, place), 1)
    counted = counted[counted.sum(axis=1) > 0]
    if len(set(counted.argmax(axis=1).tolist())) < 2:  # noqa: PLR2004 - at least two places
        return None
    sizes = counted.sum(axis=1)
    chosen = np.bincount(counted.argmax(axis=1), minlength=places).tolist()
    cases, times = np.unique(np.stack((sizes, counted.max(axis=1))), axis=1, return_counts=True)
    whole: float = sum(
        count * explains(units - there, there, STRAY)
        for units, there, count in zip(*cases.tolist(), times.tolist(), strict=True)
    )
    values_in_all = len(counted)
    return whole + any_shares(chosen) - log1p(-exp(_all_alike(values_in_all, places)))


def _all_alike(choices: int, size: int) -> float:
    """Logarithm of the probability that all choices are the same one."""
    return log(size) + any_shares([choices, *[0] * (size - 1)])
