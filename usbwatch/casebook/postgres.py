"""A casebook on a PostgreSQL server, for several benches.

All tables stand in a schema of their own, ``usbwatch``, so that the database
may hold other things, too.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
from psycopg.conninfo import conninfo_to_dict

from usbwatch.casebook.store import APPLICATION_ID, Row, Value
from usbwatch.errors import BadBook

__all__ = ["PostgresStore"]

_WORDS = {
    "key": "BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY",
    "int": "BIGINT",
    "text": 'TEXT COLLATE "C"',
    "blob": "BYTEA",
    "strict": "",
    "keyed": "",
    "for_update": " FOR UPDATE",
}

_DISK_FULL = "53100"
_READ_ONLY = "25006"
_NO_RIGHT = "42501"
_AT_ONCE = ("23505", "40001", "40P01")
_HELD = ("55P03", "57014")
_OF_A_SERVER = {
    _DISK_FULL: ("is full: the server's disk has no room left", "make room there, and do it again"),
    _READ_ONLY: ("takes no writes: the server is read only", "name the server that does"),
    _NO_RIGHT: ("does not let this user do that", "ask whoever keeps the server for the right"),
    **dict.fromkeys(_AT_ONCE, ("was changed by another program at the same moment", "do it again")),
    **dict.fromkeys(_HELD, ("is held by another program", "end that program, or wait, and do it again")),
}
"""SQLSTATE codes (PostgreSQL manual, appendix A) as a sentence: what is wrong, and what to do."""

_SET_UP = (
    "SET search_path TO usbwatch",
    "SET client_min_messages TO warning",
    "SET synchronous_commit TO on",  # what was acknowledged is on the disk
    "SET lock_timeout TO '60s'",
    "SET idle_in_transaction_session_timeout TO '120s'",
)


class PostgresStore:
    """A casebook's server, by its URL (``postgresql://user@host/database``)."""

    def __init__(self, url: str) -> None:
        self.name = _shown(url)
        if not self.name:
            remedy = "write postgresql://USER@HOST/DATABASE, with %40 for @ and the like in a name or password"
            raise BadBook("postgresql://…", "is no address of a PostgreSQL database", remedy)
        with self._told():
            self._connection = psycopg.connect(url, autocommit=True, connect_timeout=10, application_name="usbwatch")
            for statement in _SET_UP:
                self._connection.execute(_postgres(statement))

    def rows(self, statement: str, *values: Value) -> list[Row]:
        """All rows that a query gives."""
        with self._told():
            return self._connection.execute(_postgres(statement), values).fetchall()

    def do(self, statement: str, *values: Value) -> None:
        """Run a statement for its effect."""
        with self._told():
            self._connection.execute(_postgres(statement), values)

    @contextmanager
    def writing(self) -> Iterator[None]:
        """A transaction; what two of them must not change at once, they lock by ``{for_update}``."""
        with self._told(), self._connection.transaction():
            yield

    def schema(self) -> int:
        """What the table ``book`` says."""
        may_use = self.rows("SELECT has_schema_privilege(oid, 'USAGE') FROM pg_namespace WHERE nspname = ?", "usbwatch")
        if not may_use:
            return 0
        if not may_use[0][0]:
            raise BadBook(self.name, *_OF_A_SERVER[_NO_RIGHT])
        if not self.rows("SELECT 1 FROM pg_tables WHERE schemaname = ? AND tablename = ?", "usbwatch", "book"):
            if self.rows("SELECT 1 FROM pg_tables WHERE schemaname = ?", "usbwatch"):
                raise BadBook(self.name, "has a schema usbwatch that is no casebook", "name another database")
            return 0
        ((application, version),) = self.rows("SELECT application, version FROM book") or [(None, None)]
        if application != APPLICATION_ID or not isinstance(version, int):
            raise BadBook(self.name, "has a schema usbwatch that is no casebook", "name another database")
        return version

    def set_schema(self, version: int) -> None:
        """In a table of one row."""
        if version == 1:
            self.do("CREATE TABLE book (application BIGINT NOT NULL, version BIGINT NOT NULL)")
            self.do("INSERT INTO book VALUES (?, ?)", APPLICATION_ID, version)
        self.do("UPDATE book SET version = ?", version)

    def before_migrating(self, version: int) -> str:  # noqa: ARG002 - the other store needs it
        """Nothing: copies are the server keeper's."""
        return ""

    def take_turns(self) -> None:
        """A lock that ends with the transaction."""
        self.do("SELECT pg_advisory_xact_lock(?)", APPLICATION_ID)
        self.do("CREATE SCHEMA IF NOT EXISTS usbwatch")

    def damage(self) -> str:
        """Nothing that a client could find: the server's keeper has its own checks."""
        return ""

    def close(self) -> None:
        """Let go of the server."""
        self._connection.close()

    @contextmanager
    def _told(self) -> Iterator[None]:
        """What the server refuses, as ``BadBook``."""
        try:
            yield
        except psycopg.Error as error:
            problem, remedy = _OF_A_SERVER.get(error.sqlstate or "", ("", ""))
            said = " ".join(str(error).split()) or type(error).__name__
            if isinstance(error, psycopg.OperationalError) and not problem:
                problem, remedy = "cannot be reached or has gone", "check its address, and that the server runs"
            raise BadBook(self.name, f"{problem or 'cannot be used'} ({said})", remedy or "look after it") from error


def _postgres(statement: str) -> bytes:
    """Its own form; as bytes, since the library takes text for what a type checker knows to be constant."""
    filled = statement.format_map(_WORDS) if "{" in statement else statement
    return filled.replace("?", "%s").encode()


def _shown(url: str) -> str:
    """The server and database without the password; "" for what is no proper address.

    A password with a ``/``, ``?`` or ``@`` in it that is not written as it
    should be ends up in the place of the port, the database or the host: such
    an address is neither shown nor tried.
    """
    try:
        told = conninfo_to_dict(url)
    except (psycopg.Error, UnicodeError):
        return ""
    user, host, port, name = (str(told.get(key) or "") for key in ("user", "host", "port", "dbname"))
    if not set(port) <= set("0123456789,") or "@" in host + name or "\0" in url:
        return ""
    return f"postgresql://{user + '@' if user else ''}{host}{':' + port if port else ''}/{name}"
