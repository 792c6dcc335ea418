"""Which changes only go along with another: one cause, many losses.

A hub that is gone takes its devices along, a device its interfaces and what
the kernel made of them. Each is still listed, but marked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from usbwatch.compare.partners import beyond
from usbwatch.model import Kind, hangs_on
from usbwatch.model.changes import ChangeKind, NodeChange

__all__ = ["with_follows"]

_COME_AND_GO = frozenset({ChangeKind.GONE, ChangeKind.NEW, ChangeKind.MOVED, ChangeKind.REPLACED})
_DRIVEN_OTHERWISE = frozenset({"rung", "driver"})
_PORTS = frozenset({Kind.PORT})
_INTERFACES = frozenset({Kind.INTERFACE})
_PARTS = frozenset({Kind.INTERFACE, Kind.FUNCTION, Kind.PORT})
"""Kinds that have no life of their own: they come and go with the device that carries them."""

_Index = dict[str, list[NodeChange]]


def with_follows(changes: Sequence[NodeChange]) -> list[NodeChange]:
    """The same changes, with ``follows`` set on those that another one accounts for."""
    before: _Index = {}
    after: _Index = {}
    for root in filter(_can_lead, changes):
        if root.before is not None:
            before.setdefault(root.before.location, []).append(root)
        if root.after is not None:
            after.setdefault(root.after.location, []).append(root)
    return [replace(change, follows=_follows(change, before, after)) for change in changes]


def _can_lead(change: NodeChange) -> bool:
    """Whether other changes can follow this one: it came, went, or is held by another driver or none."""
    return change.kind in _COME_AND_GO or (
        change.kind is ChangeKind.CHANGED and any(fact.field in _DRIVEN_OTHERWISE for fact in change.facts)
    )


def _follows(change: NodeChange, before: _Index, after: _Index) -> bool:
    if change.kind is ChangeKind.NOT_COMPARABLE:
        return False
    index = before if change.before is not None else after
    location = change.before.location if change.before is not None else change.node.location
    if _port_alone(change):
        here = [*before.get(location, ()), *after.get(location, ())]
        return not all(_is_one_of(_PORTS, root) for root in here)
    return any(_carries(root, change) for place in beyond(location) for root in index.get(place, ()))


def _port_alone(change: NodeChange) -> bool:
    """Whether a port tells nothing but how far the device in it got."""
    told = {fact.field for fact in change.facts}
    return change.kind is ChangeKind.CHANGED and _is_one_of(_PORTS, change) and told <= {"rung", "facts.state"}


def _carries(root: NodeChange, change: NodeChange) -> bool:
    """Whether the change of ``root`` accounts for ``change`` beyond it.

    A device that is gone from a hub that stayed, moved or was replaced is a
    loss of its own; only what is part of a device goes wherever that goes.
    """
    if not _went_together(root, change):
        return False
    if change.kind is ChangeKind.CHANGED:
        return _is_one_of(_INTERFACES, change)
    return _is_one_of(_PARTS, change) or (change.kind is root.kind and change.kind is not ChangeKind.REPLACED)


def _is_one_of(kinds: frozenset[Kind], change: NodeChange) -> bool:
    return all(node.kind in kinds for node in (change.before, change.after) if node is not None)


def _went_together(root: NodeChange, change: NodeChange) -> bool:
    """Whether ``change`` hangs on ``root`` in each capture that has it, both times at the same place beyond it."""
    rests = set()
    for carrier, node in ((root.before, change.before), (root.after, change.after)):
        if node is None:
            continue
        if carrier is None or not hangs_on(node.location, carrier.location):
            return False
        rests.add(node.location[len(carrier.location) :])
    return len(rests) == 1
