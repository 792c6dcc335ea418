"""A book of every earlier schema opens, is brought up to date, and has lost nothing."""

from __future__ import annotations

import os
import shutil
import sqlite3
from pathlib import Path

import pytest
from support.make_casebook import FOLDER, LABELS

from usbwatch.casebook import open_book
from usbwatch.casebook.migrations import LATEST
from usbwatch.casebook.store import APPLICATION_ID
from usbwatch.model.history import Captured, Ending

_STORED = sorted(FOLDER.glob("schema-*.sqlite"))


def test_a_book_of_every_schema_so_far_is_kept() -> None:
    assert [path.name for path in _STORED] == [f"schema-{number}.sqlite" for number in range(1, LATEST + 1)]


@pytest.mark.parametrize("stored", _STORED, ids=lambda path: path.stem)
def test_a_book_of_an_earlier_schema_opens_and_has_lost_nothing(stored: Path, tmp_path: Path) -> None:
    path = shutil.copy(stored, tmp_path / "book.sqlite")
    with sqlite3.connect(path) as before:
        bodies = sorted(body for (body,) in before.execute("SELECT body FROM entry"))
    before.close()
    book = open_book(str(path))
    assert book.store.schema() == LATEST
    assert sorted(body for (body,) in book.store.rows("SELECT body FROM entry")) == bodies
    assert [book.unit(label).label for label in LABELS] == list(LABELS)
    unit = book.unit(LABELS[0])
    assert unit.ending is Ending.PARTED_OUT
    for each in book.story(unit).standings:
        if isinstance(each.fact, Captured):
            assert book.saved_capture(each.fact.capture).capture.unit.product_name == "Larch 13"
    assert book.store.damage() == ""
    book.close()


@pytest.mark.parametrize("stored", _STORED[:-1], ids=lambda path: path.stem)
def test_a_copy_of_the_earlier_book_is_kept_beside_it(stored: Path, tmp_path: Path) -> None:
    path = shutil.copy(stored, tmp_path / "book.sqlite")
    book = open_book(str(path))
    book.close()
    version = int(stored.stem.rpartition("-")[2])
    assert book.copy_kept == f"{path}.schema-{version}"
    with sqlite3.connect(book.copy_kept) as copy:
        assert copy.execute("PRAGMA user_version").fetchone() == (version,)
        assert copy.execute("SELECT count(*) FROM entry").fetchone() == (10,)
    copy.close()


def test_a_copy_leaves_what_other_programs_write_and_files_that_only_look_so(tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite"
    shutil.copy(_STORED[0], book)
    began = f"{book}.schema-1"
    left = [f"{began}.1.part", f"{began}.1.part-wal"]
    stay = [f"{began}.2.part", f"{began}.2.part-journal", f"{began}.partner", f"{began}.1.part.keep", f"{began}.x.part"]
    for name in (*left, *stay):
        Path(name).write_bytes(b"x")
    for name in (*left, *stay[2:]):
        os.utime(name, (0, 0))
    open_book(str(book)).close()
    assert sorted(map(str, tmp_path.iterdir())) == sorted([str(book), began, *stay])


def test_the_file_says_what_it_is(tmp_path: Path) -> None:
    """Offsets 60 (user version) and 68 (application id) of the header: sqlite.org/fileformat.html, section 1.3."""
    open_book(str(tmp_path / "book.sqlite")).close()
    header = (tmp_path / "book.sqlite").read_bytes()[:100]
    assert int.from_bytes(header[60:64], "big") == LATEST
    assert int.from_bytes(header[68:72], "big") == APPLICATION_ID
