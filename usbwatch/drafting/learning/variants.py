"""Which string tells a variant, which devices go with it, and which optional devices go together."""

from __future__ import annotations

from collections import Counter
from math import log
from typing import TYPE_CHECKING

from usbwatch.drafting.learning.assumptions import COPY
from usbwatch.drafting.learning.evidence import UNIFORM, explains
from usbwatch.drafting.learning.merging import Candidate
from usbwatch.drafting.learning.standing import PRESENT, UNSEEN
from usbwatch.drafting.learning.table import Table
from usbwatch.drafting.learning.values import LearntDevice, LearntVariant, Standing

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = ["companions", "telling_key", "variants"]

_TOLD = 0.8
"""How probable it has to be that a string tells a variant: a wrong one makes a device expected where none is."""
_AS_GOOD = 3
"""A string that tells one device is taken where it is at most so many times less probable than the best one."""


def telling_key(candidate: Candidate, among: Iterable[Candidate]) -> str:
    """The string that tells which units have a device, "" where none does; the same for many where it can be."""
    keyed = candidate.weighed.keyed
    told = sum(keyed.values())
    if not keyed or told < _TOLD * (told + candidate.weighed.free):
        return ""
    liked: Counter[str] = Counter()
    for other in among:
        liked.update(other.weighed.keyed)
    best = max(keyed.values())
    good = [name for name, chance in keyed.items() if chance * _AS_GOOD >= best]
    return min(good, key=lambda name: (-liked[name], -keyed[name], name))


_Match = dict[str, tuple[str, ...]]


def variants(devices: Sequence[LearntDevice], kept: Sequence[Candidate], table: Table) -> tuple[LearntVariant, ...]:
    """The variants, each with what it lacks; empty where no string tells one."""
    keyed = [number for number, one in enumerate(devices) if one.standing is Standing.VARIANT]
    names = sorted({devices[number].told_by for number in keyed})
    if not names:
        return ()
    first = table.first_of_unit
    combinations = Counter(zip(*(table.keys[name].of[first].tolist() for name in names), strict=True))
    found: list[tuple[_Match, tuple[int, ...], int]] = []
    for values, units in sorted(combinations.items()):
        value = dict(zip(names, values, strict=True))
        match: _Match = {name: (table.keys[name].written[value[name]],) for name in names}
        without = tuple(
            number
            for number in keyed
            if value[devices[number].told_by] not in kept[number].weighed.having[devices[number].told_by]
        )
        if all(texts != ("",) for texts in match.values()):
            found.append((match, without, units))
    for name in names:
        found = _joined(found, name)
    return tuple(LearntVariant(match=match, without=without, units=units) for match, without, units in found)


def _joined(found: list[tuple[_Match, tuple[int, ...], int]], name: str) -> list[tuple[_Match, tuple[int, ...], int]]:
    """Variants that lack the same and differ in one string alone, as one with several values of it."""
    whole: dict[tuple[object, ...], tuple[_Match, tuple[int, ...], int]] = {}
    for match, without, units in found:
        rest = tuple(sorted((key, texts) for key, texts in match.items() if key != name))
        mark = (without, rest)
        if mark in whole:
            before, _, counted = whole[mark]
            joined = tuple(sorted({*before[name], *match[name]}))
            whole[mark] = ({**match, name: joined}, without, counted + units)
        else:
            whole[mark] = (match, without, units)
    return list(whole.values())


_FEWEST = 2
_GO_TOGETHER = 0.2
"""How likely two optional devices go together, before counting."""


def companions(number: int, numbers: Sequence[int], kept: Sequence[Candidate], table: Table) -> tuple[int, ...]:
    """Which other optional devices are there when one is, and absent when it is."""
    import numpy as np

    own = table.by_unit(kept[number].states)
    found = []
    for other in numbers:
        units = table.by_unit(kept[other].states)
        both = (own != UNSEEN) & (units != UNSEEN)
        one, two = own[both] == PRESENT, units[both] == PRESENT
        same = int(np.count_nonzero(one == two))
        yes = int(np.count_nonzero(two))
        copy = log(_GO_TOGETHER) + explains(len(one) - same, same, COPY)
        alone = log(1 - _GO_TOGETHER) + explains(yes, len(two) - yes, UNIFORM)
        if other != number and int(np.count_nonzero(one & two)) >= _FEWEST and copy > alone:
            found.append(other)
    return tuple(found)
