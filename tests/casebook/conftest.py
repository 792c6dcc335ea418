"""A casebook on either store: every test that asks for ``book`` runs on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.make_casebook import fill

from usbwatch.casebook import Book, open_book


@pytest.fixture
def book(address: str) -> Iterator[Book]:
    """A new, empty casebook."""
    made = open_book(address)
    yield made
    made.close()


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Book]:
    """A book with two units, in a file."""
    made = open_book(str(tmp_path / "here.sqlite"))
    fill(made)
    yield made
    made.close()
