"""What stands at one place: a device with all the identities that it was seen with there.

Same place, same function, another identity: a second source. Same place,
another function: another device. What tells no function is taken for the
device that is usual there, and its identity for a flaw until it is frequent.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from math import log
from typing import TYPE_CHECKING

from usbwatch.drafting.learning.assumptions import FLAW
from usbwatch.drafting.learning.evidence import UNIFORM, explains
from usbwatch.drafting.learning.sightings import Manner, Role, Thing
from usbwatch.drafting.learning.table import Table
from usbwatch.model import Rung

if TYPE_CHECKING:
    from usbwatch.drafting.learning.table import Numbers

__all__ = ["Stand", "Stands", "alike", "is_flaw", "rows_of", "stands"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """One device at one place."""

    bus: str
    place: str
    function: str
    things: tuple[Thing, ...]
    """Its identities there, the most usual first."""
    odd: tuple[Thing, ...] = ()
    """Things that stood in its place and are not taken for it: an identity that was not read, or a strange one."""
    rows: Numbers
    """Captures in which one of them is there."""
    inside: bool
    """Something says that the place is inside the unit."""
    socket: bool
    """Other captures say that the place is a socket."""

    @property
    def identities(self) -> frozenset[str]:
        """What it says it is."""
        return frozenset(one.identity for one in self.things if one.identity)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stands:
    """All stands, and what the captures made of every thing."""

    stands: tuple[Stand, ...]
    roles: dict[Thing, Counter[Role]] = field(default_factory=dict)


_POINTING = frozenset({"touchpad", "pointing-device", "pointing-stick", "mouse"})
_CARDS = frozenset({"storage", "card-reader", "disk"})
"""Functions that one device shows in turn: a touchpad without its own driver is a mouse, an empty reader no disk."""


def alike(one: str, other: str) -> bool:
    """Whether two functions can be one device's: equal, or words for the same thing under another driver."""
    return one == other or any({one, other} <= group for group in (_POINTING, _CARDS))


def is_flaw(yes: int, no: int) -> bool:
    """Whether *yes* cases are as rare as flaws are, rather than something that some units have."""
    return log(_FLAWS) + explains(yes, no, FLAW) >= log(1 - _FLAWS) + explains(yes, no, UNIFORM)


_FLAWS = 0.8
"""How likely something strange is a flaw, before counting."""


def stands(table: Table) -> Stands:
    """Every device at every place, with the identities that it has there."""
    roles = {thing: _roles(thing, table) for thing in table.columns}
    at: dict[tuple[str, str], list[Thing]] = {}
    for thing, counted in roles.items():
        kept = counted[Role.INSIDE] + counted[Role.UNSURE]
        if kept > max(counted[Role.SPOKEN_FOR], counted[Role.OUTSIDE]):
            at.setdefault((thing.bus, thing.place), []).append(thing)
    found = [stand for _, things in sorted(at.items()) for stand in _at_one_place(things, table, roles)]
    return Stands(stands=tuple(found), roles=roles)


def _roles(thing: Thing, table: Table) -> Counter[Role]:
    import numpy as np

    counted: Counter[Role] = Counter()
    numbers, times = np.unique(table.columns[thing].manners, return_counts=True)
    for number, count in zip(numbers, times, strict=True):
        counted[table.manners[number].role] += int(count)
    return counted


def _function(thing: Thing, table: Table) -> str:
    """The function that most captures tell; of equal ones that of the highest rung."""
    import numpy as np

    votes: Counter[str] = Counter()
    height: dict[str, int] = {}
    numbers, times = np.unique(table.columns[thing].manners, return_counts=True)
    for number, count in zip(numbers, times, strict=True):
        manner: Manner = table.manners[number]
        if manner.function:
            votes[manner.function] += int(count)
            height[manner.function] = max(height.get(manner.function, 0), Rung(manner.rung).height)
    return min(votes, key=lambda word: (-votes[word], -height[word], word), default="")


def _at_one_place(things: list[Thing], table: Table, roles: dict[Thing, Counter[Role]]) -> list[Stand]:
    """The most usual thing first; each other one joins the first that does the same, or stands for itself."""
    functions = {thing: _function(thing, table) for thing in things}
    ranked = sorted(things, key=lambda thing: (-len(table.columns[thing].rows), thing))
    named = [thing for thing in ranked if thing.identity and functions[thing]]
    groups: list[list[Thing]] = []
    for thing in named:
        home = next((group for group in groups if alike(functions[group[0]], functions[thing])), None)
        if home is None:
            groups.append([thing])
        else:
            home.append(thing)
    odd: list[Thing] = []
    for thing in (one for one in ranked if one not in named):
        _settle(thing, groups, odd, table, functions)
    odd_home = max(range(len(groups)), key=lambda index: _size(groups[index], table), default=0)
    return [
        _stand(group, odd if index == odd_home else [], functions, table, roles) for index, group in enumerate(groups)
    ]


def _size(group: list[Thing], table: Table) -> int:
    return sum(len(table.columns[thing].rows) for thing in group)


def _settle(
    thing: Thing, groups: list[list[Thing]], odd: list[Thing], table: Table, functions: dict[Thing, str]
) -> None:
    """What tells no identity or no function: the usual device's own, or a flaw of it, or a device of its own."""
    if not groups:
        groups.append([thing])
        return
    home = max(groups, key=lambda group: _size(group, table))
    count = len(table.columns[thing].rows)
    if not thing.identity or is_flaw(count, _size(home, table)):
        odd.append(thing)
    elif functions[thing] and not alike(functions[home[0]], functions[thing]):
        groups.append([thing])
    else:
        home.append(thing)


def rows_of(things: tuple[Thing, ...], table: Table) -> Numbers:
    """Captures that have any of some things, rising."""
    import numpy as np

    parts = [table.columns[thing].rows for thing in things]
    return parts[0] if len(parts) == 1 else np.unique(np.concatenate(parts))


def _stand(
    group: list[Thing], odd: list[Thing], functions: dict[Thing, str], table: Table, roles: dict[Thing, Counter[Role]]
) -> Stand:
    things = tuple(group)
    inside = sum(roles[thing][Role.INSIDE] for thing in things)
    sockets = table.sockets[things[0].place]
    return Stand(
        bus=things[0].bus,
        place=things[0].place,
        function=next((functions[thing] for thing in things if functions[thing]), ""),
        things=things,
        odd=tuple(odd),
        rows=rows_of((*things, *odd), table),
        inside=inside > 0 and inside >= sockets,
        socket=sockets > inside,
    )
