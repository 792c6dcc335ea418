"""A unit's harness drawn in text: subassemblies as blocks, links as lines between them, devices at the ends.

The drawing wraps its own text, for the lines of the harness run on beside it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from usbwatch.compare.by_hand import by_hand_only
from usbwatch.model import ExpectedDevice, Part, PartKind, Profile
from usbwatch.show.harness import Stub, stubs
from usbwatch.show.lines import Line, Span, Style, cells, line, wrapped
from usbwatch.show.safe import safe

__all__ = ["BY_HAND_SIGN", "OPTIONAL_SIGN", "Mark", "drawing"]

OPTIONAL_SIGN, BY_HAND_SIGN = "~", "*"
"""Behind a device's name: not in every unit; proven by a hand check alone."""

_NAME = 40
_LEAST_ROOM = 26
"""Columns that a block needs beside the line that leads to it."""
_LEAST_BESIDE = 34
"""Columns from which devices that take several lines stand beside their block, not under it."""
_LEAST_UNDER = 13
"""Columns that devices under a block need; with less the rest of a chain is drawn from the left again."""
_MARGIN = "  "


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """What is said of one subassembly or link by a sign before its name."""

    sign: str
    style: Style


def drawing(profile: Profile, marks: Mapping[str, Mark], width: int) -> list[Line]:
    """The harness, root first; ``marks`` by id of subassembly or link."""
    found = stubs(profile)
    ids = {stub.part.id for stub in found if stub.part}
    behind: dict[str, list[Stub]] = defaultdict(list)
    roots: list[Stub] = []
    for stub in found:
        (behind[stub.toward.id] if stub.toward and stub.toward.id in ids else roots).append(stub)
    pen = _Pen(behind=behind, marks=marks, width=width)
    lines = [one for root in roots for one in pen.block(root, _MARGIN, [_faint(_MARGIN)])]
    while pen.later:
        stub = pen.later.pop(0)
        on = safe(stub.toward.name, _NAME).upper() if stub.toward else ""
        lines += [line(f"{_MARGIN}[{on}]"), *pen.branch(stub, _MARGIN, last=True)]
    return [*lines, *_other_links(profile, found)]


def _other_links(profile: Profile, found: Sequence[Stub]) -> list[Line]:
    """Links that close a ring, and so are on no line of the drawing."""
    drawn = {link.id for stub in found for link in stub.links}
    names = {part.id: safe(part.name, _NAME) for part in profile.parts}
    links = [part for part in profile.parts if part.kind is PartKind.LINK and part.id not in drawn]
    return [
        line(f"{_MARGIN}{safe(link.name, _NAME)}: {' to '.join(names.get(end, end) for end in link.joins)}", hang=4)
        for link in links
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pen:
    """``margin``, throughout, has the lines of the harness that pass on the left."""

    behind: Mapping[str, Sequence[Stub]]
    """What hangs on each subassembly, by its id."""
    marks: Mapping[str, Mark]
    width: int
    later: list[Stub] = field(default_factory=list)
    """For what there was no room in its place."""

    def block(self, stub: Stub, margin: str, opening: list[Span]) -> list[Line]:
        """One subassembly with its devices, then what hangs on it; ``opening`` leads to it on its own line."""
        children = self.behind.get(stub.part.id, ()) if stub.part else ()
        inner = f"{margin} │" if children else margin
        lines = self._with_devices(stub, [*opening, *self._box(stub)], inner)
        for child in children:
            lines += self.branch(child, margin, last=child is children[-1])
        return lines

    def branch(self, stub: Stub, margin: str, *, last: bool) -> list[Line]:
        """The links to one subassembly, and the subassembly at their end: beside them, or under them."""
        if cells(margin) + 8 + _LEAST_UNDER > self.width and margin != _MARGIN:
            self.later.append(stub)
            return [Line(spans=(_faint(f"{margin} {'└' if last else '├'}─ "), Span(text="(below)")))]
        names = [self._name(link) for link in stub.links] or [[Span(text="")]]
        room = self.width - cells(margin) - 8 - max(map(_cells, names))
        return (self._beside if room >= _LEAST_ROOM else self._below)(stub, margin, names, last=last)

    def _beside(self, stub: Stub, margin: str, names: list[list[Span]], *, last: bool) -> list[Line]:
        end = max(self._common_length(stub), *map(_cells, names)) + 2
        lines = [
            Line(spans=(_faint(f"{margin} ├─ "), *name, _faint(f" {'─' * (end - _cells(name))}┐")))
            for name in names[:-1]
        ]
        joint = "┴─" if lines else "──"
        lead = f" {'─' * (end - _cells(names[-1]))}{joint}"
        opening = [_faint(f"{margin} {'└' if last else '├'}─ "), *names[-1], _faint(lead)]
        beyond = f"{margin} {' ' if last else '│'}"
        return [*lines, *self.block(stub, beyond + " " * (_cells(opening) - cells(beyond)), opening)]

    def _common_length(self, stub: Stub) -> int:
        """Of the links that leave the same subassembly, so that their blocks stand under each other."""
        beside = self.behind.get(stub.toward.id, ()) if stub.toward else ()
        lengths = (_cells(self._name(link)) for each in beside[:_NAME] for link in each.links)
        return min(max(lengths, default=0), self.width * 2 // 5)

    def _below(self, stub: Stub, margin: str, names: list[list[Span]], *, last: bool) -> list[Line]:
        lines = [Line(spans=(_faint(f"{margin} ├─ "), *name)) for name in names]
        lines[-1] = Line(spans=(_faint(f"{margin} {'└' if last else '├'}─ "), *names[-1]))
        beyond = f"{margin} {' ' if last else '│'}  "
        return [*lines, *self.block(stub, beyond, [_faint(beyond)])]

    def _name(self, link: Part) -> list[Span]:
        return [*self._sign(link), Span(text=safe(link.name, _NAME))]

    def _box(self, stub: Stub) -> list[Span]:
        name = safe(stub.part.name, _NAME).upper() if stub.part else "IN NO SUBASSEMBLY"
        return [Span(text="["), *self._sign(stub.part), Span(text=name, style=Style.STRONG), Span(text="]")]

    def _sign(self, part: Part | None) -> list[Span]:
        mark = self.marks.get(part.id) if part else None
        return [Span(text=f"{mark.sign} ", style=mark.style)] if mark else []

    def _with_devices(self, stub: Stub, start: list[Span], inner: str) -> list[Line]:
        """The block with its devices beside it, or under it where there is little room."""
        names = ", ".join(_named(device) for device in stub.devices)
        if not names:
            return [Line(spans=tuple(start))]
        at = _cells(start) + 1
        if cells(names) > self.width - at < _LEAST_BESIDE:
            return [Line(spans=tuple(start)), *self._rows(names, inner, cells(inner) + 3)]
        first, *others = self._rows(names, inner, at)
        return [Line(spans=(*start, Span(text=" "), *first.spans[1:])), *others]

    def _rows(self, names: str, inner: str, at: int) -> list[Line]:
        """The names of devices from column ``at`` on, each line with what passes on its left."""
        left = _faint(inner + " " * (at - cells(inner)))
        return [Line(spans=(left, *row.spans)) for row in wrapped([line(names)], max(self.width - at, 1))]


def _named(device: ExpectedDevice) -> str:
    sign = BY_HAND_SIGN if by_hand_only(device) else OPTIONAL_SIGN if device.optional or device.firmware_names else ""
    return f"{safe(device.name, _NAME)}{sign}"


def _cells(spans: Sequence[Span]) -> int:
    return sum(cells(span.text) for span in spans)


def _faint(text: str) -> Span:
    return Span(text=text, style=Style.FAINT)
