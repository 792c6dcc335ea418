"""``usbwatch capture``: a file that is whole, in the right place, and never in place of another."""

from __future__ import annotations

import json
import os
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from support.bench import lay_out, run, small_tree

from usbwatch.capture import load
from usbwatch.capture.naming import default_name
from usbwatch.cli.writing import write_file
from usbwatch.errors import UnwritableOutput
from usbwatch.model import UnitStrings

NOON = datetime(2026, 11, 24, 12, 0, 7, tzinfo=UTC)

NAMES = {
    "Larch 13": "larch-13-2026-11-24-120007.json",
    "../../etc/passwd": "etc-passwd-2026-11-24-120007.json",
    "\x1b[2J\n": "2j-2026-11-24-120007.json",
    "键盘": "unit-2026-11-24-120007.json",
    "": "unit-2026-11-24-120007.json",
    "L" * 300: f"{'l' * 40}-2026-11-24-120007.json",
}


@pytest.mark.parametrize(("model", "name"), NAMES.items(), ids=range(len(NAMES)))
def test_the_name_is_made_of_harmless_letters(model: str, name: str) -> None:
    assert default_name(UnitStrings(product_name=model), NOON) == name


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    small_tree(tmp_path / "tree")
    return lay_out(tmp_path)


def test_a_capture_is_written_and_summed_up(bench: Path) -> None:
    done = run(bench, "capture", "--root", "tree")
    assert done.stdout == ""
    written = [one.name for one in bench.iterdir() if re.fullmatch(r"plover-s-\d{4}-\d\d-\d\d-\d{6}\.json", one.name)]
    assert len(written) == 1
    assert f"captured Ostrey Plover S into {written[0]}" in done.stderr
    assert re.search(r"^· not there +usb +the copied tree has no /sys/bus/usb", done.stderr, re.MULTILINE)
    assert load(str(bench / written[0])).unit.product_name == "Plover S"


def test_a_capture_on_standard_output_can_be_checked_from_standard_input(bench: Path) -> None:
    made = run(bench, "capture", "--root", "tree", "-o", "-")
    assert json.loads(made.stdout)["format"] == "usbwatch-capture"
    assert "into standard output" in made.stderr
    assert run(bench, "check", "-", stdin=made.stdout).returncode == 11


def test_a_file_that_is_there_is_kept(bench: Path) -> None:
    before = (bench / "whole.json").read_bytes()
    done = run(bench, "capture", "--root", "tree", "-o", "whole.json")
    assert done.returncode == 3
    assert "output whole.json: is there already; choose another name with -o, or give --force" in done.stderr
    assert (bench / "whole.json").read_bytes() == before


def test_force_overwrites_it(bench: Path) -> None:
    assert run(bench, "capture", "--root", "tree", "-o", "whole.json", "--force").returncode == 0
    assert load(str(bench / "whole.json")).system.source == "tree"


def test_the_log_beside_a_copied_tree_is_read_and_another_can_be_named(bench: Path) -> None:
    (bench / "tree" / "meta").mkdir()
    (bench / "tree" / "meta" / "dmesg.txt").write_text("[    0.000000] Linux\n", encoding="utf-8")
    (bench / "other.txt").write_text("[    0.000000] Linux\n[    1.000000] more\n", encoding="utf-8")
    assert re.search(r"log +1 line$", run(bench, "capture", "--root", "tree").stderr, re.MULTILINE)
    named = run(bench, "capture", "--root", "tree", "--log", "other.txt", "-o", "-")
    assert re.search(r"log +2 lines$", named.stderr, re.MULTILINE)


def test_nothing_is_left_behind_when_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    (tmp_path / "old.json").write_text("old", encoding="utf-8")
    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(UnwritableOutput, match="No space left"):
        write_file(str(tmp_path / "old.json"), "new", force=True)
    assert [one.name for one in tmp_path.iterdir()] == ["old.json"]
    assert (tmp_path / "old.json").read_text(encoding="utf-8") == "old"


def test_a_file_that_appears_meanwhile_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.json"
    real = os.fsync

    def appear(handle: int) -> None:
        real(handle)
        target.write_text("theirs", encoding="utf-8")

    monkeypatch.setattr(os, "fsync", appear)
    with pytest.raises(UnwritableOutput, match="is there already"):
        write_file(str(target), "ours")
    assert target.read_text(encoding="utf-8") == "theirs"
    assert [one.name for one in tmp_path.iterdir()] == ["a.json"]


def test_without_hard_links_the_file_is_still_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_self: Path, _target: Path) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", refuse)
    write_file(str(tmp_path / "a.json"), "ours")
    assert [(one.name, one.read_text(encoding="utf-8")) for one in tmp_path.iterdir()] == [("a.json", "ours")]


@pytest.mark.parametrize("force", [False, True], ids=["kept", "forced"])
def test_nothing_but_a_regular_file_is_ever_replaced(tmp_path: Path, force: bool) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", tmp_path, Path("/dev/null")):
        with pytest.raises(UnwritableOutput, match="no regular file"):
            write_file(str(path), "x", force=force)
    assert Path("/dev/null").is_char_device()


def test_a_link_is_written_through(tmp_path: Path) -> None:
    (tmp_path / "real.json").write_text("old", encoding="utf-8")
    (tmp_path / "link.json").symlink_to("real.json")
    write_file(str(tmp_path / "link.json"), "new", force=True)
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_text(encoding="utf-8") == "new"


@pytest.mark.parametrize("name", ["a\0b", "n" * 300, "no/such/folder"], ids=["nul", "too long", "no folder"])
def test_an_impossible_name_is_one_sentence(tmp_path: Path, name: str) -> None:
    with pytest.raises(UnwritableOutput, match="cannot be written"):
        write_file(str(tmp_path / name), "x")
