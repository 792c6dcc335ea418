"""A page for a screen of a given size: what does not fit is said shorter, the least important first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from usbwatch.onboard.letters import console_line
from usbwatch.show.fitting import fitted_line
from usbwatch.show.lines import BLANK, Line, Span, cells, wrapped

__all__ = ["Block", "page_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One part of a page, from its fullest wording to its shortest."""

    wordings: tuple[tuple[Line, ...], ...]
    yields: tuple[int, ...] = ()
    """For each step to a shorter wording, when it is taken: of all parts of the page, the smallest first."""


def page_of(blocks: Sequence[Block], foot: Sequence[Line], width: int, height: int) -> list[Line]:
    """Exactly ``height`` lines of at most ``width`` columns, the foot at the bottom.

    Where even the shortest wordings do not fit, the page ends with a sign that there is more.
    """
    foot_rows = _rows(foot, width)
    room = max(height - len(foot_rows), 1)
    rows = _fitting(blocks, width, room)
    if len(rows) > room:
        rows = [*rows[: room - 1], _goes_on(rows[room - 1], width)]
    page = [*rows, *[BLANK] * (room - len(rows)), *foot_rows]
    return [fitted_line(one, width) for one in page[:height]]


def _fitting(blocks: Sequence[Block], width: int, room: int) -> list[Line]:
    rows = [[_rows(wording, width) for wording in block.wordings] for block in blocks]
    chosen = [0] * len(blocks)
    taken: list[int] = []
    while _height(rows, chosen) > room:
        can = [at for at in range(len(blocks)) if chosen[at] + 1 < len(rows[at])]
        if not can:
            break
        taken.append(min(can, key=lambda at: blocks[at].yields[chosen[at]]))
        chosen[taken[-1]] += 1
    for at in reversed(taken):  # a later step may have made room for what an earlier one gave up
        back = [*chosen[:at], chosen[at] - 1, *chosen[at + 1 :]]
        if _height(rows, back) <= room:
            chosen = back
    return [row for at in range(len(blocks)) for row in rows[at][chosen[at]]]


def _height(rows: Sequence[Sequence[Sequence[Line]]], chosen: Sequence[int]) -> int:
    return sum(len(wordings[at]) for wordings, at in zip(rows, chosen, strict=True))


def _rows(lines: Iterable[Line], width: int) -> list[Line]:
    return list(wrapped(map(console_line, lines), width))


def _goes_on(row: Line, width: int) -> Line:
    whole = Line(spans=(*row.spans, Span(text=" ...")))
    if cells(whole.text) <= width:
        return whole
    return Line(spans=(Span(text=row.text[: max(width - 4, 0)], style=row.spans[0].style), Span(text=" ...")))
