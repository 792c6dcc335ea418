"""The two kinds of store that can hold a casebook, seen as one.

Statements are written once, with ``?`` for values, and with a word in braces
where the two differ: ``{key}``, ``{int}``, ``{text}`` and ``{blob}`` for types
(text is compared byte by byte), ``{strict}`` for the end of a table's
definition, ``{keyed}`` where the table is to lie in the order of its primary
key, ``{for_update}`` for a row that is about to change.
"""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Any, Protocol

__all__ = ["APPLICATION_ID", "Row", "Store", "Value"]

Value = str | bytes | int | None
Row = tuple[Any, ...]

APPLICATION_ID = 0x75776362
"""``uwcb`` in ASCII: what marks a database as a casebook."""


class Store(Protocol):
    """A database with the casebook's tables, or about to have them.

    Every method raises ``BadBook`` for what the database refuses: a full disk,
    a lost server, a damaged file.
    """

    name: str
    """The file or server, fit to be shown: without a password."""

    def rows(self, statement: str, *values: Value) -> list[Row]:
        """All rows that a query gives."""
        ...

    def do(self, statement: str, *values: Value) -> None:
        """Run a statement for its effect."""
        ...

    def writing(self) -> AbstractContextManager[None]:
        """A transaction that others wait for: kept as a whole when the block ends, undone when it raises."""
        ...

    def schema(self) -> int:
        """The version of the tables that are there; 0 for an empty database. Refuses what is no casebook."""
        ...

    def set_schema(self, version: int) -> None:
        """Write the version down, as part of the transaction that brought it about."""
        ...

    def before_migrating(self, version: int) -> str:
        """Keep a copy of the book, now in schema ``version``; where that is, "" where the server's keeper does it."""
        ...

    def take_turns(self) -> None:
        """Within a transaction: wait until no other program changes the tables."""
        ...

    def damage(self) -> str:
        """What the database's own check of itself finds wrong, as one line; "" for nothing."""
        ...

    def close(self) -> None:
        """Let go of it."""
        ...
