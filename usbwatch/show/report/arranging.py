"""Where everything of the drawing stands: the unit as it comes apart, in boxes and lines, without any SVG yet.

The root is the block that most others hang on. In the wide drawing it is the
spine in the middle and the others hang on it left and right; in the narrow one
it is on top and they hang under it. What hangs on one of those in turn (the
battery pack on the top case) hangs under that, one step further out, by a lane
that is kept free beside everything it passes: so no line crosses a box.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from usbwatch.model import Verdict
from usbwatch.show.report.contents import Piece, contents, height_of, tab_height
from usbwatch.show.report.value import Block, Joint

__all__ = ["NARROW", "Arranged", "Box", "Tab", "arranged"]

NARROW = 760
"""Below this width the blocks stand in one column."""

_MARGIN = 8
_GAP = 36
_BETWEEN = 26
"""Free space under a block."""
_INDENT = 26
_ALL_INDENTS = {True: 110, False: 44}
"""For the deepest chain, in one column and beside the spine."""
_ROOT_SHARE = 0.27
_LINE_IN_TAB = 11
"""How far below the top of its tab a line leaves it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tab:
    """The end of a link, as a tab on the block that it holds, and the line from there to the other block."""

    joint: Joint
    x: float
    y: float
    width: float
    height: float
    line: tuple[tuple[float, float], ...]
    """Corners, from the tab to the block nearer to the root."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A block at its place; ``y`` is its own top edge, below its tabs."""

    block: Block
    x: float
    y: float
    width: float
    height: float
    pieces: tuple[Piece, ...]
    tabs: tuple[Tab, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Arranged:
    """The whole drawing."""

    width: float
    height: float
    boxes: tuple[Box, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lane:
    """Where links leave: the edge of the block nearer to the root, or the lane beside what hangs on it."""

    x: float
    bottom: float | None = None
    """None: the edge of the spine. Else the lower edge of the block, from where the lane runs down."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tree:
    block: Block
    under: tuple[_Tree, ...] = ()


def arranged(blocks: Sequence[Block], width: float, above: float = 0) -> Arranged:
    """The blocks in a drawing of ``width``, with ``above`` left free; its height follows from what is to be shown."""
    if not blocks:
        return Arranged(width=width, height=above + _MARGIN, boxes=())
    root, hung, loose = _trees(blocks)
    lay = _in_column if width < NARROW else _beside_spine
    boxes = lay(root, hung, loose, width, above + _MARGIN)
    bottom = max(box.y + box.height for box in boxes)
    return Arranged(width=width, height=bottom + _MARGIN, boxes=tuple(boxes))


def _trees(blocks: Sequence[Block]) -> tuple[Block, list[_Tree], list[_Tree]]:
    """The root, what hangs on it, and what hangs on nothing; in each, what is wrong or suspected first."""
    by_id = {block.id: block for block in blocks}
    hangs = [block.toward for block in blocks]
    root = max((block for block in by_id.values()), key=lambda block: (not block.toward, hangs.count(block.id)))
    taken = {id(root)}
    hung = list(_under(root, blocks, taken))
    loose = []
    for block in blocks:
        if id(block) not in taken:
            taken.add(id(block))
            loose.append(_Tree(block=block, under=tuple(_under(block, blocks, taken))))
    return root, sorted(hung, key=_urgency), loose


def _under(near: Block, blocks: Sequence[Block], taken: set[int]) -> Iterator[_Tree]:
    if not near.id:
        return
    for block in blocks:
        if block.toward == near.id and id(block) not in taken:
            taken.add(id(block))
            yield _Tree(block=block, under=tuple(_under(block, blocks, taken)))


def _urgency(tree: _Tree) -> tuple[float, int]:
    every = list(_blocks_of(tree))
    chances = [block.probability or 0 for block in every]
    chances += [link.probability or 0 for block in every for link in block.links]
    wrong = sum(device.verdict is not Verdict.PRESENT for block in every for device in block.devices)
    return (-max(chances), -wrong)


def _blocks_of(tree: _Tree) -> Iterator[Block]:
    yield tree.block
    for one in tree.under:
        yield from _blocks_of(one)


def _depth(tree: _Tree) -> int:
    return 1 + max((_depth(one) for one in tree.under), default=0)


def _indent(trees: Sequence[_Tree], *, column: bool) -> float:
    deepest = max((_depth(one) for one in trees), default=1)
    return min(_INDENT, _ALL_INDENTS[column] / deepest)


def _in_column(root: Block, hung: list[_Tree], loose: list[_Tree], width: float, top: float) -> list[Box]:
    room = width - 2 * _MARGIN
    step = _indent([_Tree(block=root, under=tuple(hung)), *loose], column=True)
    boxes = [_box(root, _MARGIN, top, room, ())]
    lane = _Lane(x=_MARGIN + step / 2, bottom=boxes[0].y + boxes[0].height)
    y = boxes[0].y + boxes[0].height + _BETWEEN
    for trees, leaves in ((hung, lane), (loose, None)):
        indent = step if leaves else 0
        for tree in trees:
            placed = _hang(tree, _MARGIN + indent, y, room - indent, leaves, step=step, side=1)
            boxes += placed
            y = _bottom(placed) + _BETWEEN
    return boxes


def _beside_spine(root: Block, hung: list[_Tree], loose: list[_Tree], width: float, top: float) -> list[Box]:
    spine = width * _ROOT_SHARE
    column = (width - spine - 2 * _GAP - 2 * _MARGIN) / 2
    step = _indent([*hung, *loose], column=False)
    left, right = _MARGIN + column + _GAP, _MARGIN + column + _GAP + spine
    sides = {-1: (_MARGIN, _Lane(x=left)), 1: (right + _GAP, _Lane(x=right))}
    bottoms = {-1: top, 1: top}
    boxes: list[Box] = []
    for tree in [*hung, *loose]:
        side = -1 if bottoms[-1] <= bottoms[1] else 1
        x, leaves = sides[side]
        placed = _hang(tree, x, bottoms[side], column, leaves if tree in hung else None, step=step, side=side)
        boxes += placed
        bottoms[side] = _bottom(placed) + _BETWEEN
    lowest = max((tab.line[-1][1] for box in boxes for tab in box.tabs if tab.line[-1][0] in (left, right)), default=0)
    return [_box(root, left, top, spine, (), at_least=lowest + _LINE_IN_TAB - top), *boxes]


def _bottom(boxes: Sequence[Box]) -> float:
    return max(box.y + box.height for box in boxes)


def _hang(tree: _Tree, x: float, y: float, width: float, leaves: _Lane | None, *, step: float, side: int) -> list[Box]:
    """A block and what hangs on it, from ``y`` down; ``side``: 1 where the root is on the left, -1 on the right."""
    tabs = tuple(_tabs(tree.block.links, x, y, width, leaves, side=side)) if leaves else ()
    box = _box(tree.block, x, y + sum(tab.height for tab in tabs), width, tabs)
    boxes = [box]
    lane = _Lane(x=x + step / 2 if side > 0 else x + width - step / 2, bottom=box.y + box.height)
    below = box.y + box.height + _BETWEEN
    for one in tree.under:
        placed = _hang(one, x + step if side > 0 else x, below, width - step, lane, step=step, side=side)
        boxes += placed
        below = _bottom(placed) + _BETWEEN
    return boxes


def _tabs(links: Sequence[Joint], x: float, y: float, width: float, leaves: _Lane, *, side: int) -> Iterator[Tab]:
    for joint in links:
        height, wide = tab_height(joint, width)
        at = x if side > 0 else x + width - wide
        middle = y + _LINE_IN_TAB
        corners = [(at if side > 0 else at + wide, middle), (leaves.x, middle)]
        if leaves.bottom is not None:
            corners.append((leaves.x, leaves.bottom))
        yield Tab(joint=joint, x=at, y=y, width=wide, height=height, line=tuple(corners))
        y += height


def _box(block: Block, x: float, y: float, width: float, tabs: tuple[Tab, ...], *, at_least: float = 0) -> Box:
    pieces = tuple(contents(block, width))
    height = max(height_of(pieces), at_least)
    return Box(block=block, x=x, y=y, width=width, height=height, pieces=pieces, tabs=tabs)
