"""A casebook on either store: every test that asks for ``book`` runs on SQLite and on PostgreSQL."""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.make_casebook import fill
from support.postgres_server import server, tool

from usbwatch.casebook import Book, open_book

Address = Callable[[], str]


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """A server's URL; without the server's package the test fails in CI and is skipped elsewhere."""
    if tool("initdb") is None:
        reason = "no PostgreSQL server is here; the distribution's package postgresql has it"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    with server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgres"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new, empty casebook can be made."""
    if request.param == "sqlite":
        return str(tmp_path / "book.sqlite")
    import psycopg

    url: str = request.getfixturevalue("postgres_url")
    name = f"book_{secrets.token_hex(8)}"
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}".encode())
    return url.replace("/postgres?", f"/{name}?")


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
