"""Tables of the documentation's pages, as rows of cells."""

from __future__ import annotations

import re

__all__ = ["names_in", "rows_between", "table_rows"]


def table_rows(text: str) -> list[list[str]]:
    """The rows of all tables in a text, without their heads."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    heads = {number - 1 for number, line in enumerate(lines) if re.fullmatch(r"[|\s:-]+", line)}
    kept = [line for number, line in enumerate(lines) if number not in heads and number - 1 not in heads]
    return [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in kept]


def rows_between(text: str, mark: str) -> list[list[str]]:
    """The rows of the table between ``<!-- mark -->`` and its end."""
    behind = text.partition(f"<!-- {mark} -->")[2]
    return table_rows(behind.partition(f"<!-- /{mark} -->")[0])


def names_in(cell: str) -> list[str]:
    """What stands in a cell in the letters of code."""
    return re.findall(r"`([^`]+)`", cell)
