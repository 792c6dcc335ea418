"""Whether a unit has to have a device: suppositions weighed by how well they explain what was counted.

*Mandatory*: every unit has it, and some lost it. *Keyed*: a string tells which
units have it. *Free*: some units have it and nothing tells which. *Helper*:
it is somebody's own and stands there now and then (only where nothing says
that the place is inside).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf, log
from typing import TYPE_CHECKING

from usbwatch.drafting.learning.assumptions import HELPER, KEYS, LOSS, STRAY, Prior
from usbwatch.drafting.learning.evidence import UNIFORM, chances, explains, together
from usbwatch.drafting.learning.table import Key, Table

if TYPE_CHECKING:
    from usbwatch.drafting.learning.table import Flags, Numbers

__all__ = ["ABSENT", "PRESENT", "UNSEEN", "Weighed", "keys_for", "weigh"]

UNSEEN, ABSENT, PRESENT = 0, 1, 2
"""States of a device in one capture or unit; of several captures of a unit the highest counts."""

_MANDATORY, _FREE, _HELPER = "mandatory", "free", "helper"

_FIRMWARE_SHOWS = frozenset({"acpi", "i2c", "spi", "serio", "drm"})
"""Buses whose devices firmware's tables name, so that another version of firmware can change what shows."""
_ALWAYS_SHOWN = frozenset({"usb", "pci"})
"""Buses that every kernel enumerates whole, so that none hides what is there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """What was found of one device, and how probable each supposition is."""

    logs: dict[str, float]
    chances: dict[str, float]
    having: dict[str, frozenset[int]] = field(default_factory=dict)
    """By key that could tell: its values, as numbers, with which units have the device."""

    @property
    def mandatory(self) -> float:
        """Probability that all units have it: where a version of firmware or kernel hides it, they have it too."""
        return self._of(_MANDATORY, "kernel", "bios_version")

    @property
    def fit(self) -> float:
        """Logarithm of how well all suppositions together explain the counts."""
        return together(self.logs.values())

    @property
    def helper(self) -> float:
        """Probability that it is somebody's own."""
        return self._of(_HELPER)

    @property
    def free(self) -> float:
        """Probability that nothing tells which units have it."""
        return self._of(_FREE)

    @property
    def keyed(self) -> dict[str, float]:
        """By key: the probability that it tells the variant."""
        return {name: self.chances[name] for name in self.having if name not in ("kernel", "bios_version")}

    def _of(self, *names: str) -> float:
        return sum(self.chances.get(name, 0.0) for name in names)


def weigh(states: Numbers, table: Table, *, bus: str, prior: Prior) -> Weighed:
    """The suppositions about a device whose states in each capture are given."""
    units = table.by_unit(states)
    seen = units != UNSEEN
    there = units[seen] == PRESENT
    yes = int(there.sum())
    no = len(there) - yes
    logs = {
        _MANDATORY: log(prior.mandatory) + explains(no, yes, LOSS),
        _FREE: log(prior.free) + explains(yes, no, UNIFORM),
    }
    if prior.helper:
        logs[_HELPER] = log(prior.helper) + explains(yes, no, HELPER)
    having: dict[str, frozenset[int]] = {}
    if yes and no:
        for name, share in keys_for(bus).items():
            key = table.keys[name]
            told, values = _told(key, key.of[table.first_of_unit][seen], there)
            if told > -inf:
                logs[name] = log(prior.keyed * share) + told
                having[name] = values
    return Weighed(logs=logs, chances=chances(logs), having=having)


def keys_for(bus: str) -> dict[str, float]:
    """The strings that can tell why a device on a bus is not there, with their shares, which make 1."""
    kept = {
        name: weight
        for name, weight in KEYS.items()
        if (name != "kernel" or bus not in _ALWAYS_SHOWN) and (name != "bios_version" or bus in _FIRMWARE_SHOWS)
    }
    whole = sum(KEYS.values())
    return {name: weight / whole for name, weight in kept.items()}


def _told(key: Key, values: Numbers, there: Flags) -> tuple[float, frozenset[int]]:
    """How well "units with some values have it, those with others lack it" explains, and which values have it.

    Any number of values is as likely to have it as any other, but for none and all, which would be no variant.
    """
    import numpy as np

    size = len(key.values)
    with_it = np.bincount(values[there], minlength=size)
    without = np.bincount(values[~there], minlength=size)
    counted = np.flatnonzero(with_it + without)
    cases, which, times = np.unique(
        np.stack((with_it[counted], without[counted])), axis=1, return_inverse=True, return_counts=True
    )
    whole, has_it = 0.0, []
    for yes, no, count in zip(*cases.tolist(), times.tolist(), strict=True):
        has, lacks = explains(no, yes, LOSS), explains(yes, no, STRAY)
        whole += count * max(has, lacks)
        has_it.append(has >= lacks)
    having = frozenset(int(value) for value, case in zip(counted, which.reshape(-1), strict=True) if has_it[case])
    values_in_all = len(counted)
    if not 0 < len(having) < values_in_all:
        return -inf, frozenset()
    pattern = explains(len(having), values_in_all - len(having), UNIFORM)
    return whole + pattern + log((values_in_all + 1) / (values_in_all - 1)), having
