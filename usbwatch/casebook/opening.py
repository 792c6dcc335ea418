"""Which casebook: one setting, a path or a URL."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from usbwatch.errors import BadBook, NoLibrary

if TYPE_CHECKING:
    from usbwatch.casebook.book import Book
    from usbwatch.casebook.store import Store

__all__ = ["default_address", "open_book"]

_SERVERS = ("postgresql://", "postgres://")
_FILE = "sqlite:///"


def default_address() -> str:
    """The file in the user's own data folder."""
    import platformdirs

    return str(Path(platformdirs.user_data_dir("usbwatch", appauthor=False)) / "casebook.sqlite")


def open_book(address: str, *, must_exist: bool = False) -> Book:
    """The casebook at a path, a ``sqlite:///path`` or a ``postgresql://…``; made where there is none.

    Raises ``BadBook`` for one that cannot be opened, and with ``must_exist`` for
    a file that is not there; ``NoLibrary`` where a server is named and psycopg
    is not installed.
    """
    from usbwatch.casebook.book import Book

    return Book(_store(address, must_exist=must_exist))


def _store(address: str, *, must_exist: bool) -> Store:
    if address.startswith(_SERVERS):
        try:
            from usbwatch.casebook.postgres import PostgresStore
        except ImportError:
            raise NoLibrary("psycopg", "usbwatch[postgres]", "a casebook on a PostgreSQL server") from None
        return PostgresStore(address)
    if "://" in address and not address.startswith(_FILE):
        scheme = address.partition("://")[0]
        raise BadBook(f"{scheme}://…", "is of a kind that is not known", "name a file, or a postgresql:// URL")
    from usbwatch.casebook.sqlite import SqliteStore

    return SqliteStore(address.removeprefix(_FILE), must_exist=must_exist)
