"""What is written to a stick, in which order, and what is left of it when it is pulled out in between."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from onboard.test_partition import GUID, USB, attached, machine, stick_disk  # noqa: F401 - fixtures
from support.needs import needed_tool

from usbwatch.errors import UnwritableOutput
from usbwatch.onboard.putting import Paper, put
from usbwatch.onboard.saver import Job, Saver
from usbwatch.onboard.sticks import FolderStick, NoStickError, why_not

PAPERS = (
    Paper(ending=".json", content=lambda _: b"{}"),
    Paper(ending=".txt", content=lambda stem: f"of {stem}".encode()),
)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in (folder / "captures").iterdir())


def test_the_files_of_a_capture_have_one_name(tmp_path: Path) -> None:
    assert put(str(tmp_path), "larch-13", PAPERS) == "larch-13"
    assert names(tmp_path) == ["larch-13.json", "larch-13.txt"]


def test_nothing_is_ever_overwritten(tmp_path: Path) -> None:
    """As on a unit whose clock starts anew each time it is switched on."""
    put(str(tmp_path), "larch-13", PAPERS)
    (tmp_path / "captures/larch-13.json").write_text("mine")
    assert put(str(tmp_path), "larch-13", PAPERS) == "larch-13-2"
    assert (tmp_path / "captures/larch-13.json").read_text() == "mine"
    assert (tmp_path / "captures/larch-13-2.txt").read_text() == "of larch-13-2"


def test_what_a_pull_left_half_written_is_taken_away(tmp_path: Path) -> None:
    """A unit that starts anew may well have the same process number, and the same time."""
    (tmp_path / "captures").mkdir()
    left = tmp_path / f"captures/.larch-13.json.{os.getpid()}.part"
    left.write_bytes(b"{")
    (tmp_path / "captures/.mine").write_text("mine")
    put(str(tmp_path), "larch-13", PAPERS)
    assert names(tmp_path) == [".mine", "larch-13.json", "larch-13.txt"]


PROGRAM = """
from usbwatch.onboard.putting import Paper, put
from usbwatch.onboard.sticks import PartitionStick
papers = [Paper(ending=".json", content=lambda _: b"{}"), Paper(ending=".txt", content=lambda _: b"text")]
with PartitionStick(guid=%r, root=%r).opened() as folder:
    print(put(folder, "larch-13", papers))
"""


def traced(machine: Path, *inject: str) -> tuple[subprocess.CompletedProcess[str], list[str]]:  # noqa: F811
    """A save to the partition, with strace(1) answering for mount(2), and the calls that matter, in their order."""
    strace = needed_tool("strace", "strace")
    attached(machine, "sdb", USB)
    trace = machine / "trace"
    told = ["-e", "trace=mount,umount2,?rename,?renameat,?renameat2,fsync,write,openat,?mkdir"]
    answers = [part for one in ("mount:retval=0", "umount2:retval=0", *inject) for part in ("-e", f"inject={one}")]
    command = [strace, "-f", "-qq", "-y", "-s", "200", *told, *answers, "-o", str(trace), sys.executable, "-c"]
    done = subprocess.run([*command, PROGRAM % (GUID, str(machine))], check=False, capture_output=True, text=True)
    return done, trace.read_text().splitlines()


def test_a_file_is_synced_before_and_after_it_gets_its_name_and_then_the_folder(machine: Path) -> None:  # noqa: F811
    """The order that rename(2) and fsync(2) ask for, so that a name never stands for half a file.

    The file once more under its name: on FAT its size is written with the file (fs/fat/namei_vfat.c).
    """
    done, calls = traced(machine)
    assert done.returncode == 0, done.stderr
    pattern = r"(mount|umount2|rename|fsync|write)\w*\((?:\d+<)?(.*)"
    found = [hit for call in calls if (hit := re.search(pattern, call)) and "usbwatch-stick" in call]
    told = []
    for hit in found:
        what = "umount" if hit[1] == "umount2" else hit[1]
        of = (
            "folder"
            if re.search(r"captures>", hit[2])
            else "json"
            if ".json" in hit[2]
            else "txt"
            if ".txt" in hit[2]
            else ""
        )
        told.append(f"{what} {of}".strip())
    one = ["write {}", "fsync {}", "rename {}", "fsync {}", "fsync folder"]
    assert told == ["mount", *(step.format("json") for step in one), *(step.format("txt") for step in one), "umount"]


def test_the_partition_is_mounted_so_that_nothing_of_it_can_run(machine: Path) -> None:  # noqa: F811
    _, calls = traced(machine)
    (mounting,) = [call for call in calls if re.search(r"\bmount\(", call)]
    assert f'"{machine}/dev/sdb1"' in mounting
    assert '"vfat"' in mounting
    assert set(re.findall(r"MS_\w+", mounting)) == {"MS_NOSUID", "MS_NODEV", "MS_NOEXEC"}


@pytest.mark.parametrize("call", ["fsync:error=EIO:when=1", "fsync:error=EIO:when=4", "?renameat2,?rename:error=EIO"])
def test_it_is_unmounted_whatever_fails_in_between(machine: Path, call: str) -> None:  # noqa: F811
    done, calls = traced(machine, call)
    assert "UnwritableOutput" in done.stderr
    last = [call for call in calls if "usbwatch-stick" in call and "pipe:" not in call][-1]
    assert re.search(r"\bumount2\(", last)
    left = names(machine / "run/usbwatch-stick") if (machine / "run/usbwatch-stick/captures").is_dir() else []
    assert all(name in ("larch-13.json", "larch-13.txt") for name in left)


def test_a_partition_that_cannot_be_mounted_is_left_alone(machine: Path) -> None:  # noqa: F811
    done, calls = traced(machine, "mount:error=EINVAL")
    assert "Invalid argument" in done.stderr
    assert not [call for call in calls if "umount2(" in call]


def error_of(number: int) -> UnwritableOutput:
    told = UnwritableOutput("x", "cannot be written")
    told.__cause__ = OSError(number, os.strerror(number))
    return told


def test_why_it_was_not_saved_is_one_clause() -> None:
    import errno

    for number in (errno.ENOSPC, errno.EROFS, errno.EIO, errno.ENODEV, errno.EINVAL, errno.EBUSY):
        for error in (error_of(number), OSError(number, os.strerror(number))):
            said = why_not(error)
            assert said.startswith("the stick")
            assert "\n" not in said
            assert not said.endswith(".")
    assert why_not(NoStickError("the stick is away")) == "the stick is away"


class Slot:
    """A place for a stick that a test puts in and pulls out."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.inside = folder, threading.Event()

    def is_there(self) -> bool:
        return self.inside.is_set()

    @contextmanager
    def opened(self) -> Iterator[str]:
        if not self.is_there():
            raise NoStickError("the stick is not plugged in")
        yield str(self.folder)


def until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + 30
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.02)


def test_a_stick_that_comes_back_gets_all_that_was_waiting(tmp_path: Path) -> None:
    slot = Slot(tmp_path)
    saver = Saver(slot)
    saver.want(Job(key="look-1", stem="a", papers=lambda: PAPERS))
    saver.want(Job(key="look-2", stem="b", papers=lambda: PAPERS))
    until(lambda: not saver.kept().well)
    assert saver.kept().sentence.startswith("NOT SAVED: the stick is not plugged in.")
    slot.inside.set()
    until(lambda: saver.kept().done)
    assert names(tmp_path) == ["a.json", "a.txt", "b.json", "b.txt"]
    assert saver.name_of("look-2") == "b.json"
    assert saver.kept().well


def test_later_notes_of_a_look_go_beside_its_capture(tmp_path: Path) -> None:
    put(str(tmp_path), "a", PAPERS)
    saver = Saver(FolderStick(folder=str(tmp_path)))
    saver.want(Job(key="look-1", stem="a", papers=lambda: PAPERS))
    note = [Paper(ending=".unit.json", content=lambda stem: stem.encode())]
    saver.want(Job(key="look-1", stem="", papers=lambda: note))
    saver.want(Job(key="look-1", stem="", papers=lambda: note))
    until(lambda: saver.kept().done)
    assert names(tmp_path) == ["a-2.json", "a-2.txt", "a-2.unit-2.json", "a-2.unit.json", "a.json", "a.txt"]


def test_a_mistake_of_ours_is_told_and_the_next_look_is_saved(tmp_path: Path) -> None:
    saver = Saver(FolderStick(folder=str(tmp_path)))

    def failing() -> tuple[Paper, ...]:
        raise ZeroDivisionError("nothing")

    saver.want(Job(key="look-1", stem="a", papers=failing))
    until(lambda: "a bug in usbwatch itself" in saver.kept().sentence)
    saver.want(Job(key="look-2", stem="b", papers=lambda: PAPERS))
    until(lambda: saver.kept().done and saver.kept().well)
    assert names(tmp_path) == ["b.json", "b.txt"]


@pytest.mark.parametrize("error", [RecursionError("deep"), PermissionError(13, "Permission denied")])
def test_whatever_stands_there_from_earlier_the_new_capture_is_saved(tmp_path: Path, error: Exception) -> None:
    def reading(_: str) -> None:
        raise error

    saver = Saver(FolderStick(folder=str(tmp_path)))
    saver.want(Job(key="look-1", stem="a", papers=lambda: PAPERS, before=reading))
    until(lambda: saver.kept().done and saver.kept().well)
    assert names(tmp_path) == ["a.json", "a.txt"]


def test_without_settings_it_says_why_nothing_is_saved() -> None:
    saver = Saver(None, "settings of the stick x: cannot be read")
    saver.want(Job(key="look-1", stem="a", papers=lambda: PAPERS))
    assert saver.kept().sentence.startswith("NOT SAVED: settings of the stick x: cannot be read.")
