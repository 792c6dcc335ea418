"""``usbwatch demo --into``: the captures that the documentation's examples are made of, in a folder of the reader's."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from usbwatch.cli import main
from usbwatch.profile import shipped

SHIPPED = {path.name: path.read_bytes() for path in shipped("captures").glob("*.json") if "schema" not in path.name}


def written(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_all_captures_are_written_as_they_are_shipped(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--into", str(tmp_path / "captures")]) == 0
    assert written(tmp_path / "captures") == SHIPPED
    assert len(SHIPPED) >= 9
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err == f"usbwatch: {len(SHIPPED)} captures of invented units are in {tmp_path}/captures\n"


def test_what_is_there_and_the_same_stays(tmp_path: Path) -> None:
    (tmp_path / "own.txt").write_text("kept", encoding="utf-8")
    main(["demo", "--into", str(tmp_path)])
    before = {path: path.stat().st_mtime_ns for path in tmp_path.iterdir()}
    assert main(["demo", "--into", str(tmp_path)]) == 0
    assert {path: path.stat().st_mtime_ns for path in tmp_path.iterdir()} == before


def test_a_file_of_the_readers_own_is_overwritten_only_with_force(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = tmp_path / "larch-13-healthy.json"
    own.write_text("mine", encoding="utf-8")
    assert main(["demo", "--into", str(tmp_path)]) == 3
    assert "is there already; choose another folder, or give --force to overwrite it." in capsys.readouterr().err
    assert own.read_text("utf-8") == "mine"
    assert main(["demo", "--into", str(tmp_path), "--force"]) == 0
    assert written(tmp_path) == SHIPPED


@pytest.mark.parametrize("force", [[], ["--force"]], ids=["plain", "force"])
def test_what_is_no_file_is_not_read(tmp_path: Path, capsys: pytest.CaptureFixture[str], force: list[str]) -> None:
    """A pipe without a writer would be read for ever (fifo(7)), /dev/zero until there is no memory left (zero(4))."""
    os.mkfifo(tmp_path / "larch-13-healthy.json")
    (tmp_path / "plover-12-healthy.json").symlink_to("/dev/zero")
    code = main(["demo", "--into", str(tmp_path), *force])
    said = capsys.readouterr().err
    assert (code, said.count("\n")) == (3, 1)
    assert "bug" not in said


@pytest.mark.parametrize("place", ["file", "nowhere/captures", "with\0nul", "pipe\n"], ids=repr)
def test_what_cannot_be_such_a_folder_is_refused_in_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], place: str
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    code = main(["demo", "--into", f"{tmp_path}/{place}"])
    said = capsys.readouterr().err
    assert code == (0 if place == "pipe\n" else 3)  # an odd name is a name
    assert said.count("\n") == 1
    assert "Traceback" not in said


def test_force_alone_is_a_misuse(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--force"]) == 2
    assert "--force goes with --into." in capsys.readouterr().err
