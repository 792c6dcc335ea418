"""The best one-to-one pairing of two sides of which only some pairs are allowed.

Hungarian method in its form by shortest augmenting paths (R. Jonker and
A. Volgenant, "A shortest augmenting path algorithm for dense and sparse
linear assignment problems", Computing 38, 1987; named from memory): one item
after another enters, and the cheapest chain of changes finds it a partner.
Prices of the partners keep every step of such a chain at no less than
nothing, so that a Dijkstra search finds it. The search walks allowed pairs
alone and so never leaves a connected group of them: each group is solved as
if it stood by itself.

To leave an item without partner is treated as one more partner, the item's
own, at the price of ``unmatched``; then every item gets one.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from typing import Any, Protocol, TypeVar

__all__ = ["assign"]


class _Sortable(Protocol):
    def __lt__(self, other: Any, /) -> bool: ...  # noqa: ANN401 - as typeshed has it for sorted()


_Left = TypeVar("_Left", bound=_Sortable)
_Right = TypeVar("_Right", bound=_Sortable)


def assign(costs: Mapping[tuple[_Left, _Right], int], *, unmatched: int) -> dict[_Left, _Right]:
    """The pairing of least total cost, by left item; whoever has no partner is not in it.

    ``costs`` holds the allowed pairs; any whole numbers will do. Each left
    item without partner costs ``unmatched``, a right one nothing. So any pair
    below ``unmatched`` is worth making where it takes no partner from another;
    a pair at or above it is never made. The result does not depend on the
    order of ``costs``: equal totals are decided by the sorted order of the
    items.

    >>> assign({("a", 1): 1, ("a", 2): 2, ("b", 1): 1}, unmatched=10)
    {'a': 2, 'b': 1}
    """
    worthwhile = {pair: cost for pair, cost in costs.items() if cost < unmatched}
    lefts = sorted({left for left, _ in worthwhile})
    rights = sorted({right for _, right in worthwhile})
    row_of = {left: row for row, left in enumerate(lefts)}
    column_of = {right: column for column, right in enumerate(rights)}
    rows = [{len(rights) + row: unmatched} for row in range(len(lefts))]
    for (left, right), cost in worthwhile.items():
        rows[row_of[left]][column_of[right]] = cost
    columns = _cheapest_columns(rows)
    return {left: rights[column] for left, column in zip(lefts, columns, strict=True) if column < len(rights)}


def _cheapest_columns(rows: list[dict[int, int]]) -> list[int]:
    """For each row the column that it gets; every row can get one."""
    row_at: dict[int, int] = {}
    column_of: dict[int, int] = {}
    prices: dict[int, int] = {}
    for row in range(len(rows)):
        reached, entered_from, free = _search(rows, row, row_at, prices)
        for column, distance in reached.items():
            prices[column] = prices.get(column, 0) - (reached[free] - distance)
        _shift(free, entered_from, row_at, column_of)
    return [column_of[row] for row in range(len(rows))]


def _search(
    rows: list[dict[int, int]], start: int, row_at: dict[int, int], prices: dict[int, int]
) -> tuple[dict[int, int], dict[int, int], int]:
    """Distances of the columns reached, the row each was entered from, and the nearest free column."""
    reached: dict[int, int] = {}
    best: dict[int, int] = {}
    entered_from: dict[int, int] = {}
    queue: list[tuple[int, int]] = []
    row, offset = start, 0
    while True:
        for column, cost in rows[row].items():
            distance = offset + cost - prices.get(column, 0)
            if column not in reached and (column not in best or distance < best[column]):
                best[column], entered_from[column] = distance, row
                heapq.heappush(queue, (distance, column))
        distance, column = heapq.heappop(queue)
        while column in reached:
            distance, column = heapq.heappop(queue)
        reached[column] = distance
        if column not in row_at:
            return reached, entered_from, column
        row = row_at[column]
        offset = distance - (rows[row][column] - prices.get(column, 0))


def _shift(column: int, entered_from: dict[int, int], row_at: dict[int, int], column_of: dict[int, int]) -> None:
    """Give each row on the chain that ends in ``column`` the next column; the first gets its first."""
    while True:
        row = entered_from[column]
        left_behind = column_of.get(row)
        row_at[column], column_of[row] = row, column
        if left_behind is None:
            return
        column = left_behind
