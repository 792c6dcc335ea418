"""A disk without room: one sentence, nothing lost, and it goes on when there is room again.

Three refusals that nobody here wrote: the system's limit on a file's size (setrlimit(2)), SQLite's own limit on a
database (sqlite.org/pragma.html#pragma_max_page_count), and a real, tiny disk in memory that is filled up (tmpfs).
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from support.filling import NOW, attached, until_refused

from usbwatch.casebook import Book, open_book
from usbwatch.model.history import Opened

_TESTS = Path(__file__).parents[1]
_HERE = {**os.environ, "PYTHONPATH": f"{_TESTS}{os.pathsep}{_TESTS.parent}"}


def _holds(book: Book, told: list[str]) -> None:
    """All that was acknowledged and nothing else is there, and every photo comes out."""
    entries = book.entries(book.unit("LB-0001"))
    assert [entry.id for entry in entries] == told
    for entry in entries[1:]:
        assert len(book.content(entry.fact.file)) == 20_000  # type: ignore[union-attr]
    assert book.store.damage() == ""


def test_a_file_that_the_system_lets_grow_no_more(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "support.filling", "limit", str(tmp_path)]
    found = json.loads(subprocess.check_output(command, env=_HERE))
    assert "its disk is full, over a quota or failing" in found["said"]
    assert "make room" in found["said"]
    book = open_book(str(tmp_path / "book.sqlite"))
    _holds(book, found["before"] + found["after"])
    book.close()


def test_a_database_that_may_have_no_more_pages(tmp_path: Path) -> None:
    book = open_book(str(tmp_path / "book.sqlite"))
    first = book.open_unit(Opened(label="LB-0001"), NOW)[1][0].id
    book.store.rows("PRAGMA max_page_count = 60")
    told, said = until_refused(book, "LB-0001")
    assert "is full: its disk has no room left" in said
    assert "\n" not in said
    book.store.rows("PRAGMA max_page_count = 4294967294")
    told.append(attached(book, "LB-0001"))
    _holds(book, [first, *told])
    book.close()


def _mounting() -> list[str]:
    """A command that runs another one where it may mount: in a namespace of its own."""
    for prefix in (["unshare", "-m"], ["unshare", "-Urm"]):
        command = [*prefix, "mount", "-t", "tmpfs", "tmpfs", "/mnt"]
        if shutil.which("unshare") and subprocess.run(command, check=False, capture_output=True).returncode == 0:
            return prefix
    pytest.skip("this machine lets nobody mount a disk; the two tests before this one have run all the same")


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What happened on a disk of 3 MiB; the book is then copied away from it."""
    disk, kept = tmp_path_factory.mktemp("disk"), tmp_path_factory.mktemp("kept")
    script = (
        f'mount -t tmpfs -o size=3m tmpfs "{disk}" && "{sys.executable}" -m support.filling disk "{disk}"'
        f' && cp "{disk}"/* "{kept}"'
    )
    found: dict[str, Any] = json.loads(subprocess.check_output([*_mounting(), "sh", "-c", script], env=_HERE))
    return {**found, "kept": kept}


def test_a_disk_that_is_full(filled: dict[str, Any]) -> None:
    assert "is full: its disk has no room left" in filled["said"]
    assert len(filled["before"]) > 3
    book = open_book(str(filled["kept"] / "book.sqlite"))
    _holds(book, filled["before"] + filled["after"])
    book.close()


def test_a_book_that_was_opened_and_closed_on_a_full_disk(filled: dict[str, Any]) -> None:
    """The log could not be moved into the file then: it was kept, as the entries of the test before this one show."""
    assert "is full" in filled["while_full"]


def test_a_full_disk_leaves_no_room_for_the_copy_of_an_old_book(filled: dict[str, Any]) -> None:
    assert "is full" in filled["migrating"]
    assert [name for name in filled["left"] if "part" in name or "schema" in name] == []
    assert filled["units_of_the_old"] == 2, "with room again it is brought up to date"


def test_a_full_disk_leaves_no_room_for_a_new_book(filled: dict[str, Any]) -> None:
    assert "is full" in filled["making"]
