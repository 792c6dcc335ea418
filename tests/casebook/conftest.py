"""A casebook on either store: every test that asks for ``book`` runs on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from usbwatch.casebook import Book, open_book


@pytest.fixture
def book(address: str) -> Iterator[Book]:
    """A new, empty casebook."""
    made = open_book(address)
    yield made
    made.close()
