"""What a pull has left on the stick, and what the next save makes of it."""

from __future__ import annotations

import os
from pathlib import Path

from usbwatch.onboard.putting import FOLDER, Paper, put


def test_a_draft_goes_but_not_one_that_may_share_its_place_with_a_file(tmp_path: Path) -> None:
    """FAT may have both names for the same clusters (fs/fat/namei_vfat.c: one is added, then one is taken away)."""
    folder = tmp_path / FOLDER
    folder.mkdir()
    for name in (".a.json.211.part", ".b.json.211.part", "b.json", "mine.part", ".Other.part"):
        (folder / name).write_text(name)
    put(str(tmp_path), "c", [Paper(ending=".json", content=lambda _: b"{}")])
    assert {path.name for path in folder.iterdir()} == {
        ".b.json.211.part",
        "b.json",
        "c.json",
        "mine.part",
        ".Other.part",
    }


def test_a_draft_of_the_same_name_is_not_touched_either(tmp_path: Path) -> None:
    """The same program, a second time: the name of its draft is taken, and so is the file's."""
    folder = tmp_path / FOLDER
    folder.mkdir()
    left = folder / f".c.json.{os.getpid()}.part"
    for path in (left, folder / "c.json"):
        path.write_text("left by a pull")
    assert put(str(tmp_path), "c", [Paper(ending=".json", content=lambda _: b"{}")]) == "c-2"
    assert left.read_text() == (folder / "c.json").read_text() == "left by a pull"
    assert (folder / "c-2.json").read_bytes() == b"{}"
