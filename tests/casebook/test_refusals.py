"""Whatever a file or a server refuses is one sentence, and nothing that was recorded is lost by it."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.make_casebook import FOLDER
from support.postgres_server import killed_and_started_again, server

from usbwatch.casebook import Book, When, open_book
from usbwatch.errors import BadBook, Refused
from usbwatch.model.history import Noted, Opened

_NOW = When(now="2026-03-02T09:00:00Z")
_PASSWORD = "correct-horse"  # of no account anywhere


def _made(path: str) -> Book:
    book = open_book(path)
    book.open_unit(Opened(label="LB-0001"), _NOW)
    return book


def _noted(book: Book) -> int:
    return book.record(book.unit("LB-0001"), [Noted(text="x")], _NOW)[0].number


def _sentence(wanted: str, act: Callable[[], object]) -> str:
    """What was said when it was refused."""
    with pytest.raises(BadBook) as told:
        act()
    said = str(told.value)
    assert wanted in said
    assert "\n" not in said
    assert _PASSWORD not in said
    return said


def _removed(path: Path) -> None:
    path.unlink()


def _moved_and_replaced(path: Path) -> None:
    path.rename(path.with_name("elsewhere"))
    shutil.copy(path.with_name("elsewhere"), path)


def _a_folder_now(path: Path) -> None:
    path.unlink()
    path.mkdir()


def _without_its_log(path: Path) -> None:
    path.with_name(f"{path.name}-wal").unlink()


@pytest.mark.parametrize("taken", [_removed, _moved_and_replaced, _a_folder_now, _without_its_log])
def test_a_file_that_goes_while_it_is_open_acknowledges_nothing_more(
    taken: Callable[[Path], None], tmp_path: Path
) -> None:
    """The system lets a program write on into a file without a name; it would all be gone with the program."""
    path = tmp_path / "book.sqlite"
    book = _made(str(path))
    _noted(book)
    taken(path)
    _sentence("was removed or replaced", lambda: _noted(book))
    book.close()


def test_a_file_that_another_program_holds_is_waited_for_and_then_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("usbwatch.casebook.sqlite.PATIENCE_S", 0)
    book, other = _made(str(tmp_path / "book.sqlite")), open_book(str(tmp_path / "book.sqlite"))
    with other.store.writing():
        _sentence("is held by another program", lambda: _noted(book))
        assert book.unit("LB-0001").entries == 1, "it can still be read"
    assert _noted(book) == 2
    book.close()
    other.close()


_ODD = ["a?b#c%20 d", "file:x?mode=ro", ":memory:", "a\nb", "-x", "\U0001f527", os.fsdecode(b"\xff\xfe"), "x" * 200]


@pytest.mark.parametrize("name", _ODD, ids=ascii)
def test_a_file_may_have_any_name(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    book = _made(name)
    assert _noted(book) == 2
    book.close()
    assert len(list(tmp_path.iterdir())) == 1
    again = open_book(name, must_exist=True)
    assert again.unit("LB-0001").entries == 2
    again.close()


@pytest.mark.parametrize("name", _ODD, ids=ascii)
def test_an_old_book_of_any_name_is_brought_up_to_date(name: str, tmp_path: Path) -> None:
    shutil.copy(FOLDER / "schema-1.sqlite", tmp_path / name)
    book = open_book(str(tmp_path / name))
    assert book.copy_kept == str(tmp_path / f"{name}.schema-1")
    assert os.path.lexists(book.copy_kept)
    book.close()


@pytest.mark.parametrize("name", ["a\0b", "x" * 300, "", "a/" * 3000, "/dev/full", "/dev/null/x", "/proc/self/x/y"])
def test_a_name_that_no_book_can_have_is_refused(name: str) -> None:
    _sentence("casebook ", lambda: open_book(name))


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that other users reach, too."""
    folder = Path(tempfile.mkdtemp(dir="/tmp"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


@contextmanager
def _without_rights() -> Iterator[None]:
    """Root may read and write whatever there is; so as root we are somebody else for a while."""
    import msgspec
    import zstandard

    assert msgspec.__name__, zstandard.__name__  # what is imported later may not be readable then
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_file_that_may_not_be_written_can_be_read_and_takes_nothing(open_folder: Path) -> None:
    path = open_folder / "book.sqlite"
    _made(str(path)).close()
    path.chmod(0o444)
    open_folder.chmod(0o777)  # the folder may be written: readers of a write-ahead log share a file in it
    with _without_rights():
        book = open_book(str(path))
        assert book.unit("LB-0001").entries == 1
        _sentence("cannot be written", lambda: _noted(book))
        book.close()


def test_a_folder_that_may_not_be_written_is_told(open_folder: Path) -> None:
    path, old = open_folder / "book.sqlite", open_folder / "old.sqlite"
    _made(str(path)).close()
    shutil.copy(FOLDER / "schema-1.sqlite", old)
    open_folder.chmod(0o555)
    with _without_rights():
        _sentence("check who may write to the file and its folder", lambda: open_book(str(path)).units())
        _sentence("cannot be opened", lambda: open_book(str(old)))
        _sentence("cannot be opened", lambda: open_book(str(open_folder / "new" / "book.sqlite")))
        path.parent.joinpath("none").exists()
    open_folder.chmod(0o755)
    assert _noted(open_book(str(path))) == 2


def test_a_file_that_may_not_be_read_is_told(open_folder: Path) -> None:
    path = open_folder / "book.sqlite"
    _made(str(path)).close()
    path.chmod(0)
    with _without_rights():
        _sentence("cannot be opened", lambda: open_book(str(path)))


@pytest.mark.parametrize("damage", ["cut", "turned over", "zeros"])
def test_a_file_that_is_damaged_is_told_and_left_as_it_is(damage: str, tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    whole = (FOLDER / "schema-3.sqlite").read_bytes()
    spoilt = {
        "cut": whole[: len(whole) // 2],
        "turned over": whole[:4096] + bytes(255 - byte for byte in whole[4096:]),
        "zeros": whole[:4096] + bytes(len(whole) - 4096),
    }[damage]
    path.write_bytes(spoilt)
    told = _told_of(path)
    assert "damaged" in told or "in database main" in told
    assert "\n" not in told
    assert path.read_bytes()[4096:] == spoilt[4096:]


def _told_of(path: Path) -> str:
    try:
        book = open_book(str(path))
        return book.store.damage()
    except BadBook as error:
        return str(error)


def test_pages_that_no_table_knows_are_found_when_the_book_is_checked(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    book = _made(str(path))
    book.store.do("PRAGMA writable_schema = ON")
    book.store.do("DELETE FROM sqlite_schema WHERE name = 'unit_by_change'")
    book.close()
    assert "never used" in _told_of(path)


def test_what_could_not_be_read_again_is_not_written(book: Book) -> None:
    unit = book.open_unit(Opened(label="LB-0001"), _NOW)[0]
    with pytest.raises(Refused, match="larger than 256 KiB"):
        book.record(unit, [Noted(text="x" * 300_000)], _NOW)
    hostile = Noted(text="a\0b\ud800")
    (entry,) = book.record(unit, [hostile], _NOW)
    assert book.entries(unit)[1] == entry, "what is acknowledged is what will be read"


_NOT_ADDRESSES = [
    "bench:{}@[::/other",
    "bench:{}%zz@/other",
    "bench:{}@host/other?nonsense=1",
    "bench:{}@host:x/other",
    "bench:{}\0@host/other",
    "bench:{}\udcff@host/other",
    "bench:{}@host/oth%00er",
    "bench:x/{}@host/other",
    "bench:x@{}@host/other",
]


@pytest.mark.parametrize("form", _NOT_ADDRESSES, ids=ascii)
def test_an_address_with_a_miswritten_password_is_neither_shown_nor_tried(form: str) -> None:
    _sentence("is no address of a PostgreSQL database", lambda: open_book("postgresql://" + form.format(_PASSWORD)))


@pytest.fixture(scope="module")
def durable(postgres_url: str) -> Iterator[str]:  # noqa: ARG001 - skipped with it
    """A server of its own, which these tests kill."""
    with server(durable=True) as url:
        yield url


def test_a_server_that_cannot_be_reached_is_told_without_the_password(durable: str) -> None:
    folder = durable.partition("?host=")[2]
    for place, why in {
        "127.0.0.1:1/other": "refused",
        "/other?host=/nowhere": "No such file",
        "no.such.host.invalid/other": "cannot be reached",
        f"/nothing?host={folder}": "does not exist",
    }.items():
        _sentence(why, lambda place=place: open_book(f"postgresql://bench:{_PASSWORD}@{place}"))  # type: ignore[misc]
    _sentence("does not exist", lambda: open_book(f"postgresql://nobody:{_PASSWORD}@/postgres?host={folder}"))


def test_a_wrong_password_is_told_and_not_shown(durable: str) -> None:
    import psycopg

    folder = Path(durable.partition("?host=")[2])
    with psycopg.connect(durable, autocommit=True) as connection:
        connection.execute("CREATE ROLE guarded LOGIN PASSWORD 'another'")
        was = (folder / "data" / "pg_hba.conf").read_text()
        (folder / "data" / "pg_hba.conf").write_text(f"local all guarded scram-sha-256\n{was}")
        connection.execute("SELECT pg_reload_conf()")
    address = f"postgresql://guarded:{_PASSWORD}@/postgres?host={folder}"
    _sentence("authentication failed", lambda: open_book(address))


def test_a_role_without_rights_is_told(durable: str) -> None:
    import psycopg

    folder = durable.partition("?host=")[2]
    book = _made(durable)
    with psycopg.connect(durable, autocommit=True) as connection:
        for statement in (
            "CREATE ROLE stranger LOGIN",
            "CREATE ROLE reader LOGIN",
            "GRANT USAGE ON SCHEMA usbwatch TO reader",
            "GRANT SELECT ON ALL TABLES IN SCHEMA usbwatch TO reader",
        ):
            connection.execute(statement.encode())
    stranger, reader = (f"postgresql://{role}@/postgres?host={folder}" for role in ("stranger", "reader"))
    _sentence("does not let this user do that", lambda: open_book(stranger))
    reading = open_book(reader)
    assert reading.unit("LB-0001").entries == 1
    _sentence("does not let this user do that", lambda: _noted(reading))
    reading.close()
    assert _noted(book) == 2
    book.close()


def test_what_a_server_refuses_for_another_reason_is_not_called_unreachable(durable: str) -> None:
    """A text that is too long for an index: 54000, program limit exceeded (PostgreSQL manual, appendix A)."""
    book = open_book(durable)
    if not book.units():
        book.open_unit(Opened(label="LB-0001"), _NOW)
    ((key,),) = book.store.rows("SELECT key FROM unit LIMIT 1")
    long = "".join(chr(0x4E00 + (number * number * 7919) % 20_000) for number in range(9000))  # hardly compresses
    insert = "INSERT INTO serial (folded, unit, part, shown) VALUES (?, ?, ?, ?)"
    said = _sentence("cannot be used (index row", lambda: book.store.do(insert, long, key, "unit", "x"))
    assert "reached" not in said
    assert _noted(book) > 1, "it has not gone"
    book.close()


def test_a_unit_that_another_program_holds_is_waited_for_and_then_told(durable: str) -> None:
    book, other = open_book(durable), open_book(durable)
    if not book.units():
        book.open_unit(Opened(label="LB-0001"), _NOW)
    book.store.do("SET lock_timeout TO '50ms'")
    with other.store.writing():
        other.store.rows("SELECT key FROM unit{for_update}")
        _sentence("is held by another program", lambda: _noted(book))
    assert _noted(book) == book.unit("LB-0001").entries
    book.close()
    other.close()


def test_of_two_programs_that_wait_for_each_other_one_is_told_to_do_it_again(durable: str) -> None:
    """Both lock two units, in opposite order: the server ends one of them (PostgreSQL manual, section 13.3.4)."""
    from threading import Barrier, Thread

    books = [open_book(durable), open_book(durable)]
    for label in ("LB-0001", "LB-0002"):
        if not books[0].find(label):
            books[0].open_unit(Opened(label=label), _NOW)
    met, said = Barrier(2), []

    def lock(book: Book, labels: tuple[str, str]) -> None:
        try:
            with book.store.writing():
                for label in labels:
                    book.store.rows("SELECT key FROM unit WHERE label = ?{for_update}", label)
                    if label == labels[0]:
                        met.wait()
        except BadBook as error:
            said.append(str(error))

    orders = (("LB-0001", "LB-0002"), ("LB-0002", "LB-0001"))
    threads = [Thread(target=lock, args=pair) for pair in zip(books, orders, strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert ["at the same moment" in one and "do it again" in one for one in said] == [True]
    for book in books:
        book.close()


def test_a_server_that_is_killed_under_a_program_is_told_and_has_lost_nothing(durable: str) -> None:
    book = open_book(durable)
    if not book.units():
        book.open_unit(Opened(label="LB-0001"), _NOW)
    number = _noted(book)
    assert killed_and_started_again(durable) > 3
    _sentence("cannot be reached or has gone", lambda: _noted(book))
    book.close()
    again = open_book(durable)
    assert again.unit("LB-0001").entries == number
    assert _noted(again) == number + 1
    again.close()
