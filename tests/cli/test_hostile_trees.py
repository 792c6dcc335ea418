"""Copied trees that mean harm, through the command: nothing outside is opened, nothing blocks, nothing raw is shown.

Whatever a tree holds, it ends in a capture that says what was not seen, which can then be checked, localised, compared,
drafted from and reported in every form; or in one sentence.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import signal
import socket
import subprocess
import sys
import tarfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fuzz.memory_tree import MemoryTree, copied
from fuzz.target import clean, nothing_raw
from support.in_process import Told, run_here
from support.looking import coverage_of, look
from support.loops import needs_root
from support.needs import needed_tool
from support.units import LARCH

from usbwatch.capture import load, take, to_json
from usbwatch.capture.saved import parse
from usbwatch.model import CoverageState

_Tree = Callable[..., Path]
_CAMERA = "sys/devices/pci0000:00/0000:00:14.0/usb1/1-5"
_SECRET = "the-secret-outside"
_DOCUMENTED = {0, 10, 11}
"""Exit codes of what was taken in: whole, something wrong, not all seen (README, docs)."""
_BLOCKS_NOT_LONGER_S = 60


@pytest.fixture(autouse=True)
def _nothing_blocks() -> Iterator[None]:
    """A read that waits for ever would hold up all tests: SIGALRM ends it as a failure."""

    def too_long(_number: int, _frame: object) -> None:
        raise AssertionError("it blocks")

    before = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(_BLOCKS_NOT_LONGER_S)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def _in_place_of(path: Path, make: Callable[[Path], object]) -> None:
    path.unlink()
    make(path)


def _socket(path: Path) -> None:
    """A name of a socket may have 107 bytes (unix(7)), so it is made from within its folder."""
    with contextlib.chdir(path.parent), socket.socket(socket.AF_UNIX) as one:
        one.bind(path.name)


def _device(path: Path) -> None:
    """/dev/zero, which never ends (Documentation/admin-guide/devices.txt)."""
    needs_root()
    os.mknod(path, 0o20444, os.makedev(1, 5))


def _deep(root: Path) -> None:
    """A device within a device within a device, far deeper than any bus; and one that links lead to."""
    folder = root / _CAMERA
    for number in range(120):
        folder = folder / f"1-5.{number}"
        folder.mkdir()
        (folder / "idVendor").write_text("1209\n")
    (root / "sys/bus/usb/devices/1-5.119").symlink_to(os.path.relpath(folder, root / "sys/bus/usb/devices"))


def _odd_names(root: Path) -> None:
    """The same device under names that a terminal would obey, that are no text, and that are as long as can be."""
    entries = os.fsencode(root / "sys/bus/usb/devices")
    for name in (
        b"1-5\n1-6",
        b"1-5\x1b[2J",
        b"1-5\xff\xfe",
        b"1-5\xc2\x9b31m",
        b"\xe2\x80\xae1-5",
        b"1" * 255,
        b" ",
        b"--help",
    ):
        os.symlink(os.readlink(entries + b"/1-5"), entries + b"/" + name)  # noqa: PTH115, PTH211 - names that are no text
        os.mkdir(os.fsencode(root / _CAMERA) + b"/" + name)  # noqa: PTH102 - the same


def _each(make: Callable[[Path], object], *paths: str) -> Callable[[Path], None]:
    """Something else in the place of each of some files."""

    def spoil(root: Path) -> None:
        for path in paths:
            _in_place_of(root / path, make)

    return spoil


def _to_each_other(root: Path, *names: str) -> None:
    """Classes that are links, each to the next and the last to the first."""
    for name, target in zip(names, (*names[1:], names[0]), strict=True):
        place = root / "sys/class" / name
        place.rename(root / name)
        place.symlink_to(target)


def _file_for_a_bus(root: Path) -> None:
    (root / "sys/bus/hid").rename(root / "away")
    (root / "sys/bus/hid").write_text("x")


def _gigabytes(root: Path) -> None:
    for path in ("meta/dmesg.txt", f"{_CAMERA}/manufacturer"):
        os.truncate(root / path, 1024**3)


_NO_FILES: dict[str, Callable[[Path], None]] = {
    "sockets": _each(_socket, f"{_CAMERA}/serial", "sys/class/dmi/id/product_serial"),
    "devices": _each(_device, f"{_CAMERA}/descriptors", f"{_CAMERA}/product", "proc/cpuinfo"),
    "pipes": _each(os.mkfifo, "proc/sys/kernel/osrelease", f"{_CAMERA}/speed"),
    "a pipe for the manifest": lambda root: os.mkfifo(root / "meta/unread.txt"),
    "a folder for a file": _each(Path.mkdir, f"{_CAMERA}/bNumInterfaces"),
    "a file for a bus": _file_for_a_bus,
    "a file for a device": _each(lambda path: path.write_text("x"), "sys/bus/usb/devices/1-6"),
    "two folders that lead to each other": lambda root: _to_each_other(root, "sound", "video4linux"),
    "a class that is a link to itself": lambda root: _to_each_other(root, "net"),
    "a gigabyte": _gigabytes,
}


def _no_files(root: Path) -> None:
    for spoil in _NO_FILES.values():
        spoil(root)


def _names_and_depths(root: Path) -> None:
    _deep(root)
    _odd_names(root)


_TEXTS = (
    b"\0" * 300,
    b"Larch\0Camera\0\n",
    b"\x1b[2J\x1b]0;gone\x07Larch\x9b31m\r\nfaked line",
    "\u202eelohw\u2066\u200b".encode(),
    b"-2147483649\n",
    b"9" * 5000,
    "\u0665\uff15".encode(),
    b'=HYPERLINK("http://x")\n',
    b"<script>alert(1)</script>[bold red]x[/]",
    b"\xff\xfe\x80",
)


def _texts(root: Path) -> None:
    """Every text that firmware, battery, panel and devices give of themselves is one that means harm."""
    folders = (root / _CAMERA, root / "sys/class/dmi/id", *(one.resolve() for one in root.glob("sys/class/*/*")))
    found = [path for folder in dict.fromkeys(folders) if folder.is_dir() for path in sorted(folder.iterdir())]
    for number, path in enumerate(path for path in found if path.is_file() and not path.is_symlink()):
        path.write_bytes(_TEXTS[number % len(_TEXTS)])
    (root / "sys/class/dmi/id/product_name").write_bytes(_TEXTS[2])


_HOSTILE = {"what is no file": _no_files, "names and depths": _names_and_depths, "texts": _texts}


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A folder to work in, beside the tree."""
    folder = tmp_path / "shop"
    folder.mkdir()
    return folder


def _run(shop: Path, *arguments: str) -> Told:
    told = run_here(shop, arguments, USBWATCH_PROFILES=str(shop / "none"), USBWATCH_BOOK=str(shop / "book.sqlite"))
    clean(told.err)
    assert "Traceback" not in told.err
    return told


_THEN = (
    ("check", "it.json"),
    ("check", "it.json", "--json"),
    ("localise", "it.json"),
    ("decode", "it.json"),
    ("diff", "it.json", "good.json"),
    ("profile", "draft", "it.json"),
    ("report", "it.json", "--format", "text", "-o", "-"),
    ("report", "it.json", "--format", "json", "-o", "-"),
    ("report", "it.json", "--format", "html", "--identify", "-o", "-"),
    ("report", "it.json", "--format", "csv", "--identify", "-o", "-"),
    ("report", "--compare", "good.json", "it.json", "--format", "html", "-o", "-"),
)


@pytest.mark.parametrize("spoil", _HOSTILE.values(), ids=_HOSTILE)
def test_a_hostile_tree_becomes_a_capture_that_every_command_takes(
    loose_tree: _Tree, shop: Path, spoil: Callable[[Path], None]
) -> None:
    root = loose_tree(LARCH)
    assert _run(shop, "capture", "--root", str(root), "-o", "good.json").code == 0
    spoil(root)
    assert _run(shop, "capture", "--root", str(root), "-o", "it.json").code == 0
    capture = load(str(shop / "it.json"))
    assert capture != load(str(shop / "good.json"))
    assert all(one.why for one in capture.coverage if not one.state.seen), "what was not seen is said, and why"
    for arguments in _THEN:
        told = _run(shop, *arguments)
        assert told.code in _DOCUMENTED, (arguments, told.err)
        (nothing_raw if arguments[0] == "report" else clean)(told.out)


def test_a_file_has_no_name_that_a_unit_chose(loose_tree: _Tree, shop: Path) -> None:
    root = loose_tree(LARCH)
    _texts(root)
    assert _run(shop, "capture", "--root", str(root)).code == 0
    (name,) = {path.name for path in shop.iterdir()} - {"book.sqlite"}
    assert re.fullmatch(r"[a-z0-9][a-z0-9-]*\.json", name)


@pytest.mark.parametrize("spoil", _NO_FILES.values(), ids=_NO_FILES)
def test_what_stands_in_place_of_a_file_is_never_waited_for(loose_tree: _Tree, spoil: Callable[[Path], object]) -> None:
    root = loose_tree(LARCH)
    spoil(root)
    capture = look(root)
    assert capture.unit.product_name == "Larch 13"
    assert coverage_of(capture, "pci").state is CoverageState.OK
    assert parse(to_json(capture).encode(), "it") == capture


# --- Nothing outside, seen from outside -----------------------------------------------------------

_LEADING_OUT = {
    "sys/class/dmi/id/product_name": "{outside}/product",
    "sys/class/dmi/id/sys_vendor": "../../../../../outside/product",
    f"{_CAMERA}/product": "/etc/hostname",
    f"{_CAMERA}/serial": "../../../../../../../../outside/product",
    f"{_CAMERA}/descriptors": "/dev/zero",
    "meta/dmesg.txt": "{outside}/product",
    "proc/cmdline": "/proc/self/environ",
    "sys/class/net": "/sys/class/net",
    "sys/class/power_supply": "../../../outside",
    "sys/bus/hid": "/sys/bus/hid",
    "sys/class/drm": "../../outside/../outside",
}


def test_seen_from_outside_nothing_beyond_the_root_is_opened(loose_tree: _Tree, tmp_path: Path, shop: Path) -> None:
    """strace -y gives the real path of every file that was opened, whatever link led there (strace(1))."""
    root = loose_tree(LARCH)
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside/product").write_text(f"{_SECRET}\n")
    for path, target in _LEADING_OUT.items():
        place = root / path
        place.rename(tmp_path / f"moved-{len(list(tmp_path.iterdir()))}") if place.exists() else None
        place.parent.mkdir(parents=True, exist_ok=True)
        place.symlink_to(target.format(outside=tmp_path / "outside"))
    trace = tmp_path / "trace"
    done = subprocess.run(
        [
            *(
                needed_tool("strace", "strace"),
                "-f",
                "-qq",
                "-y",
                "-e",
                "trace=?openat,?open,?openat2",
                "-o",
                str(trace),
            ),
            *(sys.executable, "-m", "usbwatch", "capture", "--root", str(root), "-o", "it.json"),
        ],
        cwd=shop,
        env={"PYTHONPATH": os.pathsep.join(filter(None, sys.path)), "PATH": "", "HOME": str(shop)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    reached = [re.search(r"= \d+<(.*)>$", line) for line in trace.read_text(errors="replace").splitlines()]
    paths = [found.group(1) for found in reached if found]
    inside = [path for path in paths if Path(path).is_relative_to(root.resolve())]
    assert len(inside) > 300, "the trace shows what is read"
    near = [path for path in paths if Path(path).is_relative_to(tmp_path.resolve()) and path not in inside]
    assert [path for path in near if not Path(path).is_relative_to(shop.resolve())] == []
    beyond = re.compile(r"/(etc/hostname|dev/zero|sys/class|sys/bus|proc/\d+/environ)")
    assert [path for path in paths if beyond.match(path)] == []
    assert _SECRET not in (shop / "it.json").read_text()


# --- What leaves while it is read ------------------------------------------------------------------


class _Leaving(MemoryTree):
    """A tree of which a part has gone from one question on, as when a dock is pulled out during the look."""

    def __init__(self, content: dict[str, bytes | str | int], after: int, what: str, answer: int) -> None:
        super().__init__(content)
        self.after, self.what, self.answer, self.asked = after, what, answer, 0

    def _at(self, path: str) -> bytes | str | None:
        self.asked += 1
        if self.asked > self.after and path.startswith(self.what):
            raise OSError(self.answer, os.strerror(self.answer), path)
        return super()._at(path)


@pytest.mark.parametrize("answer", [errno.ENOENT, errno.ENODEV, errno.EIO], ids=lambda one: errno.errorcode[one])
@pytest.mark.parametrize("what", ["sys/devices/pci0000:00/0000:00:14.0/usb1", "sys/devices", "sys", "proc"])
def test_whatever_leaves_at_any_moment_of_the_look_leaves_a_capture(built_tree: _Tree, what: str, answer: int) -> None:
    content = copied(built_tree(LARCH))
    whole = _Leaving(content, 10**9, what, answer)
    before = take(whole, taken_at="")
    for after in range(0, whole.asked, whole.asked // 9):
        capture = take(_Leaving(content, after, what, answer), taken_at="")
        assert parse(to_json(capture).encode(), "it") == capture
        assert {one.bus for one in capture.coverage} == {one.bus for one in before.coverage}


def test_files_that_are_removed_and_made_again_meanwhile(loose_tree: _Tree) -> None:
    """On the disk, with another process at work: devices of a hub go and come as fast as it can make them."""
    root = loose_tree(LARCH)
    worker = subprocess.Popen([sys.executable, "-c", _FLAPPING, str(root / _CAMERA), str(root / "gone")])
    try:
        for _ in range(6):
            capture = look(root)
            assert coverage_of(capture, "pci").state is CoverageState.OK
            assert parse(to_json(capture).encode(), "it") == capture
    finally:
        worker.kill()
        worker.wait()


_FLAPPING = """
import os, sys
place, away = sys.argv[1:]
while True:
    os.rename(place, away)
    os.rename(away, place)
"""


# --- Very much of everything -------------------------------------------------------------------------


def test_two_thousand_devices_are_captured_checked_and_reported(tmp_path: Path, shop: Path) -> None:
    """Fifty thousand were measured: see tests/fuzz/RESULTS.md."""
    archive = tmp_path / "many.tar"
    with tarfile.open(archive, "w") as tar:
        for number in range(1, 2000):
            _add_device(tar, number)
    assert _run(shop, "capture", "--root", str(archive), "-o", "it.json").code == 0
    assert len(load(str(shop / "it.json")).nodes) == 1999
    for arguments in (("check", "it.json", "--profile", "generic-clamshell"), ("report", "it.json", "-o", "-")):
        assert _run(shop, *arguments).code in _DOCUMENTED


def _add_device(tar: tarfile.TarFile, number: int) -> None:
    import io

    folder = f"sys/devices/pci0000:00/0000:00:14.0/usb1/1-{number}"
    for name, text in (("idVendor", "1209"), ("idProduct", "0001"), ("bDeviceClass", "03")):
        info = tarfile.TarInfo(f"{folder}/{name}")
        info.size = len(text)
        tar.addfile(info, io.BytesIO(text.encode()))
    link = tarfile.TarInfo(f"sys/bus/usb/devices/1-{number}")
    link.type, link.linkname = tarfile.SYMTYPE, f"../../../devices/pci0000:00/0000:00:14.0/usb1/1-{number}"
    tar.addfile(link)
