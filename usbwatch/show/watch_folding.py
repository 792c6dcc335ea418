"""Returns that follow one another, as one: a hub's devices come back one by one, which is no news each time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from usbwatch.model import Change, Incident

__all__ = ["folded"]

_WITHIN_MS = 2_000


def folded(incidents: Iterable[Incident]) -> list[Incident]:
    """The incidents, with those returns made into one that follow each other within two seconds."""
    found: list[Incident] = []
    for one in incidents:
        if found and _go_on(found[-1], one):
            before = found[-1]
            devices = tuple(dict.fromkeys([*before.devices, *one.devices]))
            found[-1] = replace(before, devices=devices, events=(*before.events, *one.events))
        else:
            found.append(one)
    return found


def _go_on(before: Incident, one: Incident) -> bool:
    alike = before.change is one.change is Change.BACK and (before.outside, before.unplaced) == (
        one.outside,
        one.unplaced,
    )
    return alike and bool(one.devices) is bool(before.devices) and one.at_ms - before.events[-1].at_ms <= _WITHIN_MS
