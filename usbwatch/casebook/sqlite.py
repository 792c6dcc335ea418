"""A casebook in one file: SQLite with a write-ahead log.

``synchronous=FULL``: what was acknowledged is on the disk, and survives a
power cut (sqlite.org/pragma.html#pragma_synchronous). Eight programs can
write to one file; each waits for the others for up to ``PATIENCE_S``.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from usbwatch.casebook.store import APPLICATION_ID, Row, Value
from usbwatch.errors import BadBook

__all__ = ["PATIENCE_S", "SqliteStore"]

PATIENCE_S = 60
"""Seconds that a write waits for others."""

_WORDS = {
    "key": "INTEGER PRIMARY KEY",
    "int": "INTEGER",
    "text": "TEXT",
    "blob": "BLOB",
    "strict": " STRICT",
    "for_update": "",
}

_OF_A_FILE = {
    sqlite3.SQLITE_FULL: ("is full: its disk has no room left", "make room on the disk, and do it again"),
    sqlite3.SQLITE_READONLY: ("cannot be written", "check who may write to the file and its folder"),
    sqlite3.SQLITE_CANTOPEN: ("cannot be opened", "check the name, and who may read and write there"),
    sqlite3.SQLITE_PERM: ("cannot be opened", "check who may read and write the file"),
    sqlite3.SQLITE_BUSY: ("is held by another program", "end that program, or wait, and do it again"),
    sqlite3.SQLITE_LOCKED: ("is held by another program", "end that program, or wait, and do it again"),
    sqlite3.SQLITE_NOTADB: ("is no casebook: the file is no SQLite database", "name another file"),
    sqlite3.SQLITE_CORRUPT: ("is damaged", "put a copy of it back, and keep the damaged file beside it"),
    sqlite3.SQLITE_IOERR: ("cannot be read or written: the disk gives an error", "look after the disk first"),
}
"""SQLite's primary result codes (sqlite.org/rescode.html) as a sentence: what is wrong, and what to do."""


class SqliteStore:
    """A casebook's file; made where there is none, with its folder, unless ``must_exist``."""

    def __init__(self, path: str, *, must_exist: bool = False) -> None:
        self.name = path
        try:
            self._refuse_oddities(Path(path), must_exist=must_exist)
        except OSError as error:
            raise BadBook(path, f"cannot be opened ({error.strerror})", "check the name and its permissions") from None
        except ValueError:
            raise BadBook(path, "has a name that no file can have", "name another file") from None
        with self._told():
            self._connection = sqlite3.connect(path, timeout=PATIENCE_S, isolation_level=None, cached_statements=256)
            self._set_up()

    @staticmethod
    def _refuse_oddities(path: Path, *, must_exist: bool) -> None:
        if path.exists():
            if not path.is_file():
                raise BadBook(str(path), "is no regular file", "name a file")
        elif must_exist:
            raise BadBook(str(path), "is not there", "usbwatch unit open makes it with the first unit")
        else:
            path.absolute().parent.mkdir(parents=True, exist_ok=True)

    def _set_up(self) -> None:
        self._connection.execute("PRAGMA foreign_keys = ON")
        self._connection.execute("PRAGMA synchronous = FULL")
        self._connection.execute("PRAGMA trusted_schema = OFF")
        self._connection.execute("PRAGMA cell_size_check = ON")

    def rows(self, statement: str, *values: Value) -> list[Row]:
        """All rows that a query gives."""
        with self._told():
            return self._connection.execute(_sqlite(statement), values).fetchall()

    def do(self, statement: str, *values: Value) -> None:
        """Run a statement for its effect."""
        with self._told():
            self._connection.execute(_sqlite(statement), values)

    @contextmanager
    def writing(self) -> Iterator[None]:
        """A transaction that keeps other writers waiting from its start on, so that none of them fails in its midst."""
        with self._told():
            self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            with self._told():
                self._connection.execute("COMMIT")
        except BaseException:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise

    def schema(self) -> int:
        """``user_version``; ``application_id`` tells a casebook from another program's database."""
        (application,), (version,) = self.rows("PRAGMA application_id") + self.rows("PRAGMA user_version")
        if application == APPLICATION_ID:
            assert isinstance(version, int)
            return version
        if application or version or self.rows("SELECT 1 FROM sqlite_schema LIMIT 1"):
            raise BadBook(self.name, "is another program's database, not a casebook", "name another file")
        return 0

    def set_schema(self, version: int) -> None:
        """Both numbers are part of the transaction."""
        self.do(f"PRAGMA application_id = {APPLICATION_ID}")
        self.do(f"PRAGMA user_version = {int(version)}")

    def before_migrating(self, version: int) -> str:
        """A copy beside the file, made by SQLite itself; one that is there already is kept."""
        if version == 0:
            self._turn_to_wal()
            return ""
        target = f"{self.name}.schema-{version}"
        if not os.path.lexists(target):
            draft = f"{target}.{os.getpid()}.part"
            try:
                self.do("VACUUM INTO ?", draft)
                os.replace(draft, target)  # noqa: PTH105 - both are paths as text
            finally:
                Path(draft).unlink(missing_ok=True)
        return target

    def take_turns(self) -> None:
        """Nothing to do: a transaction that writes is alone from its start."""

    def _turn_to_wal(self) -> None:
        """Once for a file; SQLite does not wait for others here, so we do."""
        until = time.monotonic() + PATIENCE_S
        while True:
            try:
                self.do("PRAGMA journal_mode = WAL")
            except BadBook:
                if time.monotonic() > until:
                    raise
                time.sleep(0.02)
            else:
                return

    def damage(self) -> str:
        """``PRAGMA integrity_check`` and ``foreign_key_check``: the first thing that either tells."""
        told = [str(row[0]) for row in self.rows("PRAGMA integrity_check(1)")]
        if told != ["ok"]:
            return told[0] if told else "the check gave no answer"
        loose = self.rows("PRAGMA foreign_key_check")
        return f"a row of table {loose[0][0]} refers to one that is not there" if loose else ""

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    @contextmanager
    def _told(self) -> Iterator[None]:
        """What SQLite refuses, as ``BadBook``."""
        try:
            yield
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            problem, remedy = _OF_A_FILE.get(code, ("cannot be used", "look after the file"))
            raise BadBook(self.name, f"{problem} ({error})", remedy) from error


def _sqlite(statement: str) -> str:
    return statement.format_map(_WORDS) if "{" in statement else statement
