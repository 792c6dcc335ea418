"""What changed on a unit between two captures."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from usbwatch.model.capture import Coverage, Episode, Fact, Node

__all__ = ["ChangeKind", "Changes", "CoverageChange", "EpisodeChange", "FactChange", "NodeChange", "WatchedChange"]


class ChangeKind(Enum):
    """What became of a node or an episode from the first capture to the second."""

    CHANGED = "changed"
    """The same in the same place, with other facts."""
    MOVED = "moved"
    """The same identity in another location."""
    REPLACED = "replaced"
    """Another identity in its place."""
    GONE = "gone"
    """In the first capture alone, and the second could have seen it."""
    NEW = "new"
    """In the second capture alone, and the first could have seen it."""
    NOT_COMPARABLE = "not comparable"
    """In one capture alone, and one of the two did not see its bus in full: neither gone nor new."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FactChange:
    """One fact that differs; None where a capture does not have it."""

    field: str
    """``rung``, ``driver``, … as in ``Node``; ``facts.speed_kbps``, ``raw.edid`` for what lies deeper.

    Of ``raw`` the values are not the bytes: they say how many, and the first that differ.
    """
    before: Fact | None
    after: Fact | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeChange:
    """What became of one node."""

    kind: ChangeKind
    bus: str
    before: Node | None = None
    """The node in the first capture; None for one that is in the second alone."""
    after: Node | None = None
    """The node in the second capture; None for one that is in the first alone."""
    facts: tuple[FactChange, ...] = ()
    """What differs between the two, the node's own fields first; facts that change by themselves are left out."""
    follows: bool = False
    """Whether it only goes along with a change of what it hangs on (or sits in): one cause, many losses."""

    @property
    def node(self) -> Node:
        """The node as it was last seen."""
        node = self.after or self.before
        assert node is not None, "a change has at least one node"
        return node


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageChange:
    """A bus that the two captures did not see equally well."""

    bus: str
    before: Coverage | None
    """None when the first capture did not look at the bus at all."""
    after: Coverage | None
    """None when the second capture did not look at the bus at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EpisodeChange:
    """What became of one trouble at one place in the kernel's log."""

    kind: ChangeKind
    """``CHANGED``, ``GONE``, ``NEW`` or ``NOT_COMPARABLE``."""
    location: str
    trouble: str
    before: Episode | None = None
    after: Episode | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchedChange:
    """How often one place was left while each of the two captures' units was watched, where that differs."""

    location: str
    name: str
    """What the node there calls itself. Never trusted."""
    before: int
    after: int
    before_ms: int
    """In how much watched time."""
    after_ms: int


_OF_A_BOARD = frozenset({"sys_vendor", "product_name", "product_serial", "board_vendor", "board_name"})
"""Strings that a firmware update leaves alone: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """All that differs between two captures, the first called *before* and the second *after*."""

    unit: tuple[FactChange, ...] = ()
    """Strings of firmware that differ (``usbwatch.model.UnitStrings``)."""
    coverage: tuple[CoverageChange, ...] = ()
    nodes: tuple[NodeChange, ...] = ()
    """By location (of a moved node the one that sorts first), then bus."""
    episodes: tuple[EpisodeChange, ...] = ()
    """By location, then trouble."""
    watched: tuple[WatchedChange, ...] = ()
    """By location, of places that were watched in both. What a watch shows is no difference between two looks."""
    watched_alone: str = ""
    """``before`` or ``after``, where that capture alone was watched: nothing is known of coming and going in the other.
    """
    left_alone: int = 0
    """How often a place was left, or fell silent, in a watch that the other capture has no like of."""
    system: tuple[FactChange, ...] = ()
    """How the looking differed (``usbwatch.model.System``): another kernel, other rights. No change of the unit."""

    @property
    def known(self) -> bool:
        """Whether something of the unit is known to differ: more than that one look saw less than the other."""
        kinds = {change.kind for change in self.nodes} | {change.kind for change in self.episodes}
        return bool(self.unit) or bool(kinds - {ChangeKind.NOT_COMPARABLE})

    @property
    def none(self) -> bool:
        """Whether nothing of the unit differs, as far as both captures saw it."""
        return not (self.unit or self.coverage or self.nodes or self.episodes or self.left_alone)

    @property
    def another_board(self) -> bool:
        """Whether firmware names another machine: another unit, or this one with another mainboard."""
        return any(change.field in _OF_A_BOARD for change in self.unit)
