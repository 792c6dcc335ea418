"""An image written to a real block device: a loop device, which stands for a file."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.loops import loop, needs_root
from support.needs import needed_tool

from usbwatch.cli import main
from usbwatch.errors import CannotWriteStick
from usbwatch.stick.devices import examined
from usbwatch.stick.gpt import HEAD, TAIL, NotWholeError, read_table
from usbwatch.stick.writing import write_image


@pytest.fixture
def stick(tmp_path: Path) -> Iterator[str]:
    """A stick of 100 MB with something else on it."""
    file = tmp_path / "stick"
    file.write_bytes(b"old\n" * 25_000_000)
    with loop(file) as device:
        yield device


def content(device: str) -> bytes:
    return Path(device).read_bytes()


def test_all_of_it_is_there_and_gdisk_finds_nothing_wrong(small_image: Path, stick: str) -> None:
    digest = write_image(str(small_image), examined(stick))
    image, written = small_image.read_bytes(), content(stick)
    assert written[HEAD : len(image) - TAIL] == image[HEAD:-TAIL]
    assert written[len(image) - TAIL : len(image)] == b"old\n" * (TAIL // 4)  # not touched: nothing of ours is there
    parts = written[: len(image) - TAIL] + written[-TAIL:]
    assert digest == hashlib.sha256(parts).hexdigest()
    told = subprocess.run(
        [needed_tool("sgdisk", "gdisk"), "--verify", stick], capture_output=True, text=True, check=True
    )
    assert "No problems found" in told.stdout
    assert "Caution" not in told.stdout + told.stderr


def test_the_command_writes_an_image_that_is_there_as_it_is(
    small_image: Path, stick: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = small_image.read_bytes()
    assert main(["stick", str(small_image), "--write", stick, "--yes"]) == 0
    shown = capsys.readouterr()
    assert f"stick written and read back: {stick}" in shown.out
    assert f"All that is on this device will be erased: {stick}" in shown.err
    assert read_table(content(stick)[:HEAD]).disk_guid == read_table(before[:HEAD]).disk_guid
    assert small_image.read_bytes() == before


def test_nobody_to_ask_and_no_yes_writes_nothing(
    small_image: Path, stick: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = content(stick)
    assert main(["stick", str(small_image), "--write", stick]) == 3
    assert "give --yes if all that is on it may go" in capsys.readouterr().err
    assert content(stick) == before


@pytest.mark.parametrize(("typed", "code"), [("erase\n", 0), ("ERASE\n", 0), ("yes\n", 3), ("\n", 3), ("", 130)])
def test_the_word_has_to_be_typed(
    typed: str, code: int, small_image: Path, stick: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("usbwatch.cli.screen.asks", lambda: True)
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    before = content(stick)
    assert main(["stick", str(small_image), "--write", stick]) == code
    assert (content(stick) == before) is (code != 0)


def test_a_device_that_is_too_small_is_left_alone(small_image: Path, tmp_path: Path) -> None:
    file = tmp_path / "small"
    file.write_bytes(b"old\n" * 10_000_000)
    with loop(file) as device, pytest.raises(CannotWriteStick, match="is too small: it has 40 MB, and the image 77 MB"):
        write_image(str(small_image), examined(device))
    assert file.read_bytes() == b"old\n" * 10_000_000


def test_too_small_and_without_rights_are_told_before_anyone_is_asked(
    small_image: Path, stick: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "small"
    file.write_bytes(b"old\n" * 10_000_000)
    with loop(file) as device:
        assert main(["stick", str(small_image), "--write", device]) == 3
    shown = capsys.readouterr().err
    assert "is too small" in shown
    assert "will be erased" not in shown
    monkeypatch.setattr(os, "access", lambda *_: False)  # root may do all
    assert main(["stick", str(small_image), "--write", stick]) == 3
    shown = capsys.readouterr().err
    assert "may not be written by you; run the same command with sudo" in shown
    assert "will be erased" not in shown


def test_a_device_that_the_system_holds_is_left_alone(small_image: Path, stick: str) -> None:
    before = content(stick)
    target = examined(stick)
    held = os.open(stick, os.O_RDONLY | os.O_EXCL)  # as the kernel does for what is mounted
    try:
        with pytest.raises(CannotWriteStick, match="is in use by the system"):
            write_image(str(small_image), target)
    finally:
        os.close(held)
    assert content(stick) == before


def another_table(image: Path) -> None:
    subprocess.run([needed_tool("sgdisk", "gdisk"), "--disk-guid=R", image], check=True, capture_output=True)


def cut_short(image: Path) -> None:
    os.truncate(image, image.stat().st_size - 512)


def longer(image: Path) -> None:
    os.truncate(image, image.stat().st_size + 512)


def damaged(image: Path) -> None:
    with image.open("r+b") as file:
        file.seek(1024 + 40)
        file.write(bytes([image.read_bytes()[1024 + 40] ^ 1]))


NO_IMAGES: dict[str, tuple[Callable[[Path], None], str]] = {
    "another disk's": (another_table, "its partition table is another one's"),
    "cut short": (cut_short, "is cut short: it has 77594112 bytes of 77594624"),
    "longer": (longer, "is longer than its own partition table says"),
    "damaged": (damaged, "has a list of partitions with a wrong checksum"),
    "empty": (lambda image: os.truncate(image, 0), "it has no partition table"),
}


@pytest.mark.parametrize("case", NO_IMAGES)
def test_what_is_no_image_of_a_stick_is_not_written(
    case: str, small_image: Path, stick: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change, sentence = NO_IMAGES[case]
    image = Path(shutil.copy(small_image, tmp_path / "other.img"))
    change(image)
    before = content(stick)
    assert main(["stick", str(image), "--write", stick, "--yes"]) == 3
    assert sentence in capsys.readouterr().err
    assert content(stick) == before


def test_interrupted_it_does_not_look_like_a_stick(
    small_image: Path, stick: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    write_image(str(small_image), examined(stick))  # it was one before
    from usbwatch.cli import screen

    said = screen.say

    def interrupted(text: str) -> None:
        said(text)
        if text.endswith("20 % written"):
            raise KeyboardInterrupt

    monkeypatch.setattr(screen, "say", interrupted)
    assert main(["stick", str(small_image), "--write", stick, "--yes"]) == 130
    assert "is no whole stick now; write it again" in capsys.readouterr().err
    with pytest.raises(NotWholeError):
        read_table(content(stick)[:HEAD])
    assert content(stick)[-TAIL:] == bytes(TAIL)  # nor is there a copy that firmware could mend it by


@contextlib.contextmanager
def memory_of(folder: Path, megabytes: int) -> Iterator[Path]:
    """A file system in memory that is full after so much."""
    needs_root()
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "none", folder], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)


def test_a_device_that_fails_in_the_middle_is_said_to_be_no_stick(small_image: Path, tmp_path: Path) -> None:
    with memory_of(tmp_path / "full", 20) as folder:
        file = folder / "stick"
        with file.open("wb") as empty:
            empty.truncate(100_000_000)
        with loop(file) as device:
            with pytest.raises(CannotWriteStick) as failed:
                write_image(str(small_image), examined(device))
            assert "was pulled out, or fails (Input/output error); it is no whole stick now" in str(failed.value)
            with pytest.raises(NotWholeError):
                read_table(content(device)[:HEAD])


def test_a_device_that_gives_back_something_else_is_told(small_image: Path, stick: str) -> None:
    def spoil(done: int, total: int) -> None:
        if done * 2 == total:  # all is written, nothing read back yet; what is kept in memory is spoilt, too
            with Path(stick).open("r+b", buffering=0) as other:
                other.seek(50_000_000)
                other.write(b"\xff" * 512)

    with pytest.raises(CannotWriteStick, match="gives back something else"):
        write_image(str(small_image), examined(stick), tell=spoil)
    with pytest.raises(NotWholeError):  # no unit starts from it
        read_table(content(stick)[:HEAD])


def test_another_stick_that_got_the_same_name_is_left_alone(small_image: Path, tmp_path: Path) -> None:
    for name in ("first", "second"):
        (tmp_path / name).write_bytes(b"old\n" * 25_000_000)
    with loop(tmp_path / "first") as device:
        target = examined(device)
        if not target.sequence:
            needed_tool("diskseq", "a kernel from Linux 5.15 on")
    subprocess.run([needed_tool("losetup", "mount"), device, tmp_path / "second"], check=True)
    try:
        assert examined(device).number == target.number
        with pytest.raises(CannotWriteStick, match="was pulled out, and something else is plugged in"):
            write_image(str(small_image), target)
    finally:
        subprocess.run([needed_tool("losetup", "mount"), "-d", device], check=True)
    assert (tmp_path / "second").read_bytes() == b"old\n" * 25_000_000
