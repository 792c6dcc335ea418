"""A casebook in one file: SQLite with a write-ahead log.

``synchronous=FULL``: what was acknowledged is on the disk, and survives a
power cut (sqlite.org/pragma.html#pragma_synchronous). Eight programs can
write to one file; each waits for the others for up to ``PATIENCE_S``. A file
that was removed or replaced while it was open would still take writes, and
lose them: before and after each transaction we look whether it is there.
"""

from __future__ import annotations

import contextlib
import os
import random
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from usbwatch.casebook.copying import copy_beside
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
    "keyed": " STRICT, WITHOUT ROWID",
    "for_update": "",
}

_NO_ROOM = (
    sqlite3.SQLITE_IOERR_WRITE,
    sqlite3.SQLITE_IOERR_FSYNC,
    sqlite3.SQLITE_IOERR_TRUNCATE,
    sqlite3.SQLITE_IOERR_SHMSIZE,
)
"""How a quota, a limit on a file's size or a full memory disk show; a failing disk, too, so both are told."""

_OF_A_FILE = {
    sqlite3.SQLITE_FULL: ("is full: its disk has no room left", "make room on the disk, and do it again"),
    sqlite3.SQLITE_READONLY: ("cannot be written", "check who may write to the file and its folder"),
    sqlite3.SQLITE_CANTOPEN: ("cannot be opened", "check the name, and who may read and write there"),
    sqlite3.SQLITE_PERM: ("cannot be opened", "check who may read and write the file"),
    sqlite3.SQLITE_BUSY: ("is held by another program", "end that program, or wait, and do it again"),
    sqlite3.SQLITE_LOCKED: ("is held by another program", "end that program, or wait, and do it again"),
    sqlite3.SQLITE_NOTADB: ("is no casebook: the file is no SQLite database", "name another file"),
    sqlite3.SQLITE_CORRUPT: ("is damaged", "put a copy of it back, and keep the damaged file beside it"),
    **dict.fromkeys(
        _NO_ROOM, ("cannot be written: its disk is full, over a quota or failing", "make room, and do it again")
    ),
    sqlite3.SQLITE_IOERR: ("cannot be read or written: the disk gives an error", "look after the disk first"),
}
"""SQLite's result codes (sqlite.org/rescode.html) as a sentence: what is wrong, and what to do."""


class SqliteStore:
    """A casebook's file; made where there is none, with its folder, unless ``must_exist``."""

    def __init__(self, path: str, *, must_exist: bool = False) -> None:
        self.name = path
        if "\0" in path:
            raise BadBook(path, "has a name that no file can have", "name another file")
        self._path = os.path.realpath(path)  # so that ":memory:", too, is the name of a file
        self._wal: tuple[int, int] | None = None
        try:
            self._refuse_oddities(Path(self._path), must_exist=must_exist)
        except OSError as error:
            raise BadBook(path, f"cannot be opened ({error.strerror})", "check the name and its permissions") from None
        with self._told():
            self._connection = sqlite3.connect(
                self._path, timeout=PATIENCE_S, isolation_level=None, cached_statements=256
            )
            self._set_up()
        self._file = _identity(self._path)

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
        ((mode,), (application,)) = (
            self._connection.execute(f"PRAGMA {name}").fetchone() for name in ("journal_mode", "application_id")
        )
        if mode != "wal" and application == APPLICATION_ID:  # a copy that VACUUM INTO made
            with contextlib.suppress(sqlite3.Error):  # it can be read without
                self._turn_to_wal()

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
            self._patiently("BEGIN IMMEDIATE")
        try:
            self._refuse_lost_file()
            yield
            with self._told():
                self._connection.execute("COMMIT")
            self._refuse_lost_file()
        except BaseException:
            if self._connection.in_transaction:
                with contextlib.suppress(sqlite3.Error):  # what went wrong first is told
                    self._connection.execute("ROLLBACK")
            raise

    def _refuse_lost_file(self) -> None:
        """Raise ``BadBook`` where the files that we write to no longer have their names: it would all go with them."""
        wal = _identity(f"{self._path}-wal")
        if self._wal is None:
            self._wal = wal
        if self._file is None or _identity(self._path) != self._file or wal != self._wal:
            raise BadBook(
                self.name,
                "was removed or replaced, or its -wal file was, while it was open",
                "put both back as they were, and do it again",
            )

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
            with self._told():
                self._turn_to_wal()
            return ""
        target = f"{self._path}.schema-{version}"
        if not os.path.lexists(target):
            try:
                with self._told():
                    copy_beside(self._connection, target)
            except OSError as error:
                if os.path.lexists(target):  # another program was faster
                    return target
                problem = f"cannot be copied to {target} before it is brought up to date ({error.strerror})"
                raise BadBook(self.name, problem, "make room there, and do it again") from None
        return target

    def take_turns(self) -> None:
        """Nothing to do: a transaction that writes is alone from its start."""

    def _turn_to_wal(self) -> None:
        """Once for a file; SQLite does not wait for others here, so we do."""
        self._patiently("PRAGMA journal_mode = WAL")

    def _patiently(self, statement: str) -> None:
        """Run it as soon as no other program is in the way.

        SQLite's own waiting takes ever longer naps, up to 100 ms, so that a
        writer among several busy ones can starve for seconds. Ours are short,
        and drawn at random so that two writers do not meet again and again.
        """
        until = time.monotonic() + PATIENCE_S
        self._connection.execute("PRAGMA busy_timeout = 0")
        try:
            while True:
                try:
                    self._connection.execute(statement)
                except sqlite3.OperationalError as error:
                    if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                        raise
                    time.sleep(random.uniform(0.0005, 0.005))  # noqa: S311 - no secret
                else:
                    return
        finally:
            self._connection.execute(f"PRAGMA busy_timeout = {1000 * PATIENCE_S}")

    def damage(self) -> str:
        """``PRAGMA integrity_check`` and ``foreign_key_check``: the first thing that either tells."""
        told = [" ".join(str(row[0]).split()) for row in self.rows("PRAGMA integrity_check(1)")]
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
            code = getattr(error, "sqlite_errorcode", 0)
            other = ("cannot be used", "look after the file")
            problem, remedy = _OF_A_FILE.get(code) or _OF_A_FILE.get(code & 0xFF, other)
            raise BadBook(self.name, f"{problem} ({error})", remedy) from error


def _sqlite(statement: str) -> str:
    return statement.format_map(_WORDS) if "{" in statement else statement


def _identity(path: str) -> tuple[int, int] | None:
    """What a file keeps when its name goes; None where there is no file of that name."""
    try:
        status = os.stat(path)  # noqa: PTH116 - a path as text
    except OSError:
        return None
    return status.st_dev, status.st_ino
