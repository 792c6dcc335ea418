"""Processes that write to one book at once, or are killed while they do: what was acknowledged is there, once.

The long forms, five minutes and 500 kills, are ``python -m benchmarks.casebook.writers`` and ``….kills``.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from support.make_casebook import FOLDER

from benchmarks.casebook.checking import Acknowledged, faults
from benchmarks.casebook.kills import killed_while_opening, killed_while_writing
from benchmarks.casebook.writers import run
from usbwatch.casebook import Book, open_book

pytestmark = pytest.mark.slow

_STORED = sorted(FOLDER.glob("schema-*.sqlite"))


def test_writers_at_work_on_units_of_their_own_lose_nothing(address: str, tmp_path: Path) -> None:
    assert run(address, tmp_path, writers=4, seconds=3) == []


def test_writers_at_work_on_one_unit_lose_nothing(address: str, tmp_path: Path) -> None:
    assert run(address, tmp_path, writers=2, seconds=2, one_unit=True) == []


def test_a_writer_that_is_killed_loses_nothing_that_was_acknowledged(address: str, tmp_path: Path) -> None:
    assert killed_while_writing(address, tmp_path, kills=12, seed=1, longest_s=0.1) == []


def test_a_program_that_is_killed_while_it_opens_a_book_leaves_it_whole(tmp_path: Path) -> None:
    assert killed_while_opening(_STORED, tmp_path, kills=10, seed=1) == []


_SPOILT = {
    "is lost": "DELETE FROM entry WHERE id = (SELECT min(id) FROM entry)",
    "differs": "UPDATE entry SET digest = zeroblob(32) WHERE number = 1",
    "and should have 1 to": "UPDATE entry SET number = 77 WHERE number = 8",
    "links of entries lead nowhere": "DELETE FROM entry WHERE number = 7",
    "is spoken of and not there": "DELETE FROM document WHERE kind = 'file'",
}


@pytest.mark.parametrize("fault", _SPOILT)
def test_the_check_itself_finds_what_was_spoilt(fault: str, tmp_path: Path) -> None:
    book = open_book(str(shutil.copy(_STORED[-1], tmp_path / "book.sqlite")))
    told = _as_acknowledged(book)
    assert faults(book, told) == []
    book.store.do("PRAGMA foreign_keys = OFF")
    book.store.do(_SPOILT[fault])
    assert any(fault in line for line in faults(book, told))
    book.close()


def _as_acknowledged(book: Book) -> Acknowledged:
    rows = book.store.rows("SELECT entry.id, unit.id, digest FROM entry JOIN unit ON unit.key = entry.unit")
    entries = {id_.hex(): (unit, digest.hex()) for id_, unit, digest in rows}
    return Acknowledged(entries=entries, documents=frozenset(), latencies_us=(), errors=())
