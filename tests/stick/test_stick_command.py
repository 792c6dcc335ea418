"""What ``usbwatch stick`` refuses before anything is fetched or written, each in one sentence."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from support.needs import needed_tool

from usbwatch.cli import main
from usbwatch.stick import building, running


@pytest.fixture(autouse=True)
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder to work in, and nothing of the user's own."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "profiles").mkdir()
    monkeypatch.setenv("USBWATCH_PROFILES", str(tmp_path / "profiles"))
    monkeypatch.delenv("USBWATCH_BOOK", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def said(arguments: list[str], code: int, capsys: pytest.CaptureFixture[str]) -> str:
    assert main(["stick", *arguments]) == code
    shown = capsys.readouterr()
    assert shown.out == ""
    return " ".join(shown.err.split())


def test_an_image_that_is_there_is_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "there.img").write_text("mine")
    assert "is there already; give --force to build it anew" in said(["there.img"], 3, capsys)
    assert (tmp_path / "there.img").read_text() == "mine"


def test_an_image_that_is_there_is_not_built_anew_in_passing(
    small_image: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sentence = said([str(small_image), "--write", "/dev/null", "--money"], 2, capsys)
    assert "IMAGE is there already and would be written as it is; give --force to build it anew." in sentence


def test_a_device_that_is_refused_is_refused_before_anything_is_built(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "device /dev/null: is no block device" in said(["new.img", "--write", "/dev/null", "--yes"], 3, capsys)
    assert not (tmp_path / "new.img").exists()


def test_a_device_without_a_name_is_not_left_out_in_silence(
    small_image: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "there is no such device" in said([str(small_image), "--write", ""], 3, capsys)  # as of an unset variable


def test_a_pipe_is_not_waited_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "is no plain file, so no image of a stick" in said(["pipe", "--write", "/dev/null"], 3, capsys)


def test_a_folder_that_may_not_be_entered_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "closed").mkdir(mode=0)
    looked = Path.exists

    def refused(path: Path) -> bool:  # as the kernel answers anyone but root
        if "closed" in path.parts:
            raise PermissionError(13, "Permission denied", str(path))
        return looked(path)

    monkeypatch.setattr(Path, "exists", refused)
    for more in ([], ["--write", "/dev/null", "--yes"]):
        assert "its folder may not be entered; choose another folder" in said(["closed/new.img", *more], 3, capsys)


MISUSED = {
    "yes alone": (["new.img", "--yes"], "--yes goes with --write"),
    "book alone": (["new.img", "--book", "b.sqlite"], "--book goes with --priors"),
}


@pytest.mark.parametrize("case", MISUSED)
def test_misuse(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    arguments, sentence = MISUSED[case]
    assert sentence in said(arguments, 2, capsys)


PLACES = {
    "no folder": ("no/such/folder/x.img", "its folder is not there"),
    "a folder": ("profiles", "is there and is no plain file"),
    "no name": ("a\0b", "has a name that no file can have"),
}


@pytest.mark.parametrize("case", PLACES)
def test_where_no_image_can_be(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    image, sentence = PLACES[case]
    assert sentence in said([image, "--force"], 3, capsys)


def test_a_folder_without_profiles_and_a_bad_profile_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "empty").mkdir()
    assert "there is no .toml file in this folder" in said(["new.img", "--profiles", "empty"], 3, capsys)
    (tmp_path / "empty" / "bad.toml").write_text("format = 3\n")
    assert "bad.toml" in said(["new.img", "--profiles", "empty"], 3, capsys)


def test_no_casebook_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert "casebook" in said(["new.img", "--priors", "--book", "none.sqlite"], 3, capsys)


def test_programs_that_lack_are_named_with_what_installs_them(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    needed_tool("dpkg", "dpkg")
    lacking = {"sgdisk", "mcopy", "mmd"}
    monkeypatch.setattr(running, "path_of", lambda tool: None if tool in lacking else f"/usr/bin/{tool}")
    sentence = said(["new.img"], 3, capsys)
    assert "programs are lacking that it is made with (gdisk, mtools)" in sentence
    assert "sudo apt-get install --no-install-recommends gdisk mtools" in sentence


def test_another_system_is_told_what_it_can_do_instead(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(running, "path_of", lambda _tool: None)
    sentence = said(["new.img"], 3, capsys)
    assert "not Debian or made like it" in sentence
    assert "usbwatch kit" in sentence
    monkeypatch.setattr("sys.platform", "darwin")
    assert "this system is not Linux" in said(["new.img"], 3, capsys)


def test_a_package_that_the_lists_do_not_have_is_named(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for tool, package in running.TOOLS.items():
        if running.path_of(tool) is None:
            needed_tool(tool, package)
    monkeypatch.setattr(building, "cache_folder", lambda: tmp_path / "cache")
    sentence = said(["new.img", "--with", "no-such-package-at-all"], 3, capsys)
    assert "the package lists have no no-such-package-at-all" in sentence
    assert "Traceback" not in sentence
    hostile = said(["new.img", "--with", "-o=Dir::Etc=/"], 3, capsys)
    assert "is no name of a package" in hostile


@pytest.mark.parametrize("told", ["yesterday", "-1", "0", "99999999999"])
def test_a_time_that_no_image_can_have_is_told(
    told: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", told)
    monkeypatch.setattr(running, "path_of", lambda tool: f"/usr/bin/{tool}")
    assert f"SOURCE_DATE_EPOCH is {told}; give it seconds since 1970" in said(["new.img"], 3, capsys)
