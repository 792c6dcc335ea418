"""Copied trees are hostile: nothing outside them is read, and nothing in them ends a capture."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
import textwrap
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import XHCI, at, coverage_of, look
from support.units import LARCH

from usbwatch.capture import CopiedTree, LiveTree, load, to_json
from usbwatch.capture.sight import Sight
from usbwatch.capture.tree import ATTRIBUTE_LIMIT
from usbwatch.errors import BadTree

_Tree = Callable[..., Path]
_CAMERA = "sys/devices/pci0000:00/0000:00:14.0/usb1/1-5"
_SECRET = "the-secret-outside"


def _in_place_of(path: Path, make: Callable[[Path], object]) -> None:
    path.unlink()
    make(path)


# --- Nothing outside is read ------------------------------------------------------

_PLANTED = {
    "an attribute is a link out": lambda root, out: _in_place_of(
        root / f"{_CAMERA}/product", lambda path: path.symlink_to(out / "product")
    ),
    "an attribute is a relative link out": lambda root, out: _in_place_of(
        root / f"{_CAMERA}/product", lambda path: path.symlink_to(os.path.relpath(out / "product", path.parent))
    ),
    "a device is a link out": lambda root, out: _in_place_of(
        root / "sys/bus/usb/devices/1-5", lambda path: path.symlink_to(out)
    ),
    "a device is a relative link out": lambda root, out: _in_place_of(
        root / "sys/bus/usb/devices/1-5", lambda path: path.symlink_to(os.path.relpath(out, path.parent))
    ),
    "the folder above the tree is a device": lambda root, _out: _in_place_of(
        root / "sys/bus/usb/devices/1-5", lambda path: path.symlink_to("../../../../..")
    ),
    "the folder above the tree has the unit's strings": lambda root, _out: _in_place_of(
        root / "sys/class/dmi/id", lambda path: path.symlink_to("../../../..")
    ),
    "a folder on the way is a link out": lambda root, out: (
        (root / "sys/devices/pci0000:00").rename(root / "moved"),
        (root / "sys/devices/pci0000:00").symlink_to(out),
    ),
    "sys itself is a link out": lambda root, out: (
        (root / "sys").rename(root / "moved"),
        (root / "sys").symlink_to(out / "sys"),
    ),
    "proc is a link out": lambda root, out: (
        (root / "proc").rename(root / "moved"),
        (root / "proc").symlink_to(out / "proc"),
    ),
    "the log is a link out": lambda root, out: _in_place_of(
        root / "meta/dmesg.txt", lambda path: path.symlink_to(out / "meta/dmesg.txt")
    ),
}


@pytest.fixture
def outside(tmp_path: Path) -> Path:
    """A folder beside the tree that is full of what must not be read."""
    out = tmp_path / "outside"
    for name in (
        "product",
        "idVendor",
        "sys_vendor",
        "meta/dmesg.txt",
        "proc/sys/kernel/osrelease",
        "proc/cpuinfo",
        "sys/bus/usb/devices/1-1/idVendor",
        "0000:00:14.0/vendor",
    ):
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_text(f"{_SECRET}\n")
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(f"{_SECRET}\n")
    return out


_WATCHED_LOOK = textwrap.dedent("""
    import json, os, sys
    from pathlib import Path
    from support.looking import look
    from usbwatch.capture import to_json
    from usbwatch.errors import BadTree
    touched, watching = [], False
    def made():
        try:
            return to_json(look(Path(sys.argv[1])))
        except BadTree as error:
            return str(error)
    def hook(event, arguments):
        if watching and event in ("open", "os.listdir", "os.scandir") and isinstance(arguments[0], str):
            followed = event != "open" or not arguments[2] & os.O_NOFOLLOW
            touched.append([arguments[0], followed])
    sys.addaudithook(hook)
    made()
    watching = True
    document = made()
    watching = False
    json.dump({"touched": touched, "document": document}, sys.stdout)
""")


def _watched(root: Path) -> tuple[list[tuple[str, bool]], str]:
    """What a capture opened or listed (by Python's audit events), whether links were followed, and what came of it."""
    done = subprocess.run(
        [sys.executable, "-c", _WATCHED_LOOK, str(root)],
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": ":".join(filter(None, sys.path)), "PATH": ""},
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    return [(path, followed) for path, followed in told["touched"]], told["document"]


@pytest.mark.parametrize("plant", _PLANTED.values(), ids=_PLANTED)
def test_nothing_outside_the_tree_is_read(
    loose_tree: _Tree, outside: Path, plant: Callable[[Path, Path], object]
) -> None:
    root = loose_tree(LARCH)
    plant(root, outside)
    touched, document = _watched(root)
    assert _SECRET not in document
    assert touched
    assert [path for path, followed in touched if not _lies_in(Path(path), root.resolve(), followed=followed)] == []


def _lies_in(path: Path, root: Path, *, followed: bool) -> bool:
    """Whether what was touched is inside; a link in the last place that is not followed is refused by the kernel."""
    return (path if followed else path.parent).resolve().is_relative_to(root)


def test_the_watch_sees_what_a_capture_reads(built_tree: _Tree) -> None:
    """So that the test above cannot pass by seeing nothing."""
    root = built_tree(LARCH)
    touched, document = _watched(root)
    assert (f"{root.resolve()}/{_CAMERA}/product", False) in touched
    assert (f"{root.resolve()}/sys/bus/usb/devices", True) in touched
    assert "Larch Camera" in document


# --- Nothing in the tree ends a capture ---------------------------------------------


def _write(path: str, content: bytes) -> Callable[[Path], object]:
    return lambda root: (root / path).write_bytes(content)


def _swap(path: str, make: Callable[[Path], object]) -> Callable[[Path], object]:
    return lambda root: _in_place_of(root / path, make)


def _rename(path: str, name: bytes) -> Callable[[Path], object]:
    return lambda root: os.rename(os.fsencode(root / path), os.fsencode(root / path).rpartition(b"/")[0] + b"/" + name)  # noqa: PTH104


def _moved_away(root: Path, path: str) -> Path:
    (root / path).rename(root / "moved")
    return root / path


_ODD = {
    "a link to itself": _swap("sys/bus/usb/devices/1-5", lambda path: path.symlink_to("1-5")),
    "a device that is its own parent": _swap(f"{_CAMERA}/port", lambda path: path.symlink_to("../1-5")),
    "a link to nothing": _swap("sys/bus/usb/devices/1-5", lambda path: path.symlink_to("../../../devices/gone")),
    "an absolute link": _swap("sys/bus/usb/devices/1-5", lambda path: path.symlink_to("/")),
    "an empty target name": _swap(f"{_CAMERA}/driver", lambda path: path.symlink_to("..//.//")),
    "a pipe for an attribute": _swap(f"{_CAMERA}/product", os.mkfifo),
    "a pipe for descriptors": _swap(f"{_CAMERA}/descriptors", os.mkfifo),
    "a pipe for a list": lambda root: os.mkfifo(_moved_away(root, "sys/class/input")),
    "a folder for an attribute": _swap(f"{_CAMERA}/idVendor", lambda path: path.mkdir()),
    "a pipe for the log": _swap("meta/dmesg.txt", os.mkfifo),
    "bytes that are no text": _write(f"{_CAMERA}/product", bytes(range(256))),
    "a number of five thousand digits": _write(f"{_CAMERA}/bNumInterfaces", b"9" * 5000),
    "a number of four hundred digits": _write(f"{_CAMERA}/bNumInterfaces", b"9" * 400),
    "a battery of four hundred digits": _write("sys/class/power_supply/BAT0/charge_full", b"-" + b"9" * 400),
    "a bitmap of sixty thousand digits": _write("sys/class/input/input0/capabilities/key", b"f" * 60_000),
    "a status below zero": _write("sys/bus/acpi/devices/PNP0C0A:00/status", b"-1\n"),
    "escapes in a name": _write(f"{_CAMERA}/product", b"\x1b[2J\x1b[31mcamera\r\n\x00\x9b"),
    "an escape in a supply's name": _rename("sys/class/power_supply/BAT0", b"BA\n\x1b[31mT0"),
    "an escape in a connector's name": _rename("sys/class/drm/card0-eDP-1", b"card0-eDP-1\n\x1b[2J"),
    "a name that is no text": _rename("sys/class/net/eth0", b"et\xff\xfe"),
    "an escape in a driver's name": _rename("sys/bus/usb/drivers/uvcvideo", b"\x1b[2J\n"),
    "a driver's name that is no text": _rename("sys/bus/usb/drivers/uvcvideo", b"\xff\xfe"),
    "an escape in a device's folder": _rename(_CAMERA, b"1-5 \x1b[31m"),
    "a port number that is no digit of ours": _rename(
        "sys/devices/pci0000:00/0000:00:14.0/usb1/1-0:1.0/usb1-port9", "usb1-port\uff19".encode()
    ),
    "lines of a uevent that are none": _write(
        "sys/bus/hid/devices/0003:1209:0001.0001/uevent", b"\xff=\n=\nHID_NAME\n"
    ),
    "an EDID of one byte": _write("sys/class/drm/card0-eDP-1/edid", b"\0"),
    "descriptors that are noise": _write(f"{_CAMERA}/descriptors", bytes(range(255, 0, -1)) * 9),
    "a report descriptor that is noise": _write(
        "sys/bus/hid/devices/0003:1209:0001.0001/report_descriptor", bytes(range(256)) * 16
    ),
    "a log that is noise": _write("meta/dmesg.txt", bytes(range(256)) * 100),
    "an error number of thirty digits": _write(
        "meta/dmesg.txt", b"[    1.000000] usb 1-5: device descriptor read/8, error -" + b"9" * 30 + b"\n"
    ),
    "a bus of the log that is not there": _write(
        "meta/dmesg.txt", b"[    1.000000] usb 9-5: device descriptor read/8, error -71\n"
    ),
    "a link of two thousand hops": lambda root: (root / "sys/bus/usb/devices/1-7").symlink_to(
        "../../../devices/" + "a/" * 2000 + "x"
    ),
    "two names for one connector, and a third that looks like the second": lambda root: (
        (root / "sys/class/drm/card7-eDP-1").symlink_to((root / "sys/class/drm/card0-eDP-1").readlink()),
        (root / "sys/class/drm/card0-eDP-1#2").symlink_to("../../devices/pci0000:00/0000:00:02.0/drm/card0-eDP-1#2"),
        (root / "sys/devices/pci0000:00/0000:00:02.0/drm/card0-eDP-1#2").mkdir(),
        (root / "sys/devices/pci0000:00/0000:00:02.0/drm/card0-eDP-1#2/subsystem").symlink_to(
            "../../../../../class/drm"
        ),
    ),
    "no subsystem anywhere": lambda root: [path.unlink() for path in list((root / "sys/devices").rglob("subsystem"))],
}


@pytest.mark.parametrize("spoil", _ODD.values(), ids=_ODD)
def test_an_odd_tree_still_gives_a_capture_that_can_be_kept(
    built_tree: _Tree, loose_tree: _Tree, tmp_path: Path, spoil: Callable[[Path], object]
) -> None:
    root = loose_tree(LARCH)
    spoil(root)
    capture = look(root)
    assert capture.unit.product_name == "Larch 13"
    assert {one.bus for one in capture.coverage} == {one.bus for one in look(built_tree(LARCH)).coverage}
    kept = tmp_path / "kept.json"
    kept.write_text(to_json(capture), encoding="utf-8")
    assert load(str(kept)) == capture


# --- Links on the way to a file -----------------------------------------------------

_ON_THE_WAY = {
    "a link to a folder inside": ("devices/x", "real"),
    "a link to a link": ("way", "real"),
    "a link that goes up and down again": ("../sys/devices/x", "real"),
    "a link with a dot in it": ("./devices/./x", "real"),
    "a link that goes back up after a name": ("class/../devices/x", "real"),
    "a link that goes back up after a link, to inside": ("far/../x", "real"),
    "a link that goes back up after a link, to outside": ("out/../secret", ""),
    "a link out": ("../../outside", ""),
    "a link out and in again by the folder's name": ("../../tree/sys/devices/x", "real"),
    "a link to the folder above the tree": ("../..", ""),
    "an absolute link out": ("{}/outside", ""),
    "an absolute link to inside": ("{}/tree/sys/devices/x", "real"),
    "a link to itself": ("link", ""),
    "a link to one that leads back": ("back", ""),
    "a link to nothing": ("devices/gone", ""),
    "a link that begins like the root but is beside it": ("../../tree-beside", ""),
}


@pytest.mark.parametrize(("target", "content"), _ON_THE_WAY.values(), ids=_ON_THE_WAY)
def test_a_folder_that_is_a_link_is_followed_inside_the_tree_alone(tmp_path: Path, target: str, content: str) -> None:
    for folder in ("tree/sys/bus", "tree/sys/class", "tree/sys/devices/x", "tree/sys/devices/y", "outside", "secret"):
        (tmp_path / folder).mkdir(parents=True)
    (tmp_path / "tree-beside").mkdir()
    (tmp_path / "tree/sys/devices/x/value").write_text("real")
    for folder in ("outside", "secret", "tree-beside"):
        (tmp_path / folder / "value").write_text(_SECRET)
    (tmp_path / "value").write_text(_SECRET)
    sys_folder = tmp_path / "tree/sys"
    for name, leads in (("way", "devices/x"), ("back", "link"), ("out", "../../outside"), ("far", "devices/y")):
        (sys_folder / name).symlink_to(leads)
    (sys_folder / "link").symlink_to(target.format(tmp_path))
    tree = CopiedTree(str(tmp_path / "tree"))
    if content:
        assert tree.read("sys/link/value") == content.encode()
        return
    for path in ("sys/link/value", "sys/link/deeper/value"):
        with pytest.raises(OSError, match=r"leads out|No such file|Too many levels"):
            tree.read(path)
    with pytest.raises(OSError, match=r"leads out|No such file|Too many levels|a link in place"):
        tree.list("sys/link")


@pytest.mark.parametrize("path", ["sys/../../outside/value", "sys/devices/../../../outside/value", "..", "sys/.."])
def test_a_path_that_climbs_is_refused(tmp_path: Path, path: str) -> None:
    (tmp_path / "tree/sys/bus").mkdir(parents=True)
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside/value").write_text(_SECRET)
    tree = CopiedTree(str(tmp_path / "tree"))
    for ask in (tree.read, tree.list, tree.link):
        with pytest.raises(PermissionError):
            ask(path)


def test_a_huge_file_is_read_up_to_the_limit(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    with (root / f"{_CAMERA}/product").open("wb") as file:
        file.truncate(3 * 1024**3)
    (root / f"{_CAMERA}/manufacturer").write_bytes(b"x" * (ATTRIBUTE_LIMIT + 5))
    node = at(look(root), f"{XHCI}/usb2/5", "usb")
    assert len(str(node.facts["manufacturer"])) == ATTRIBUTE_LIMIT


def test_a_folder_of_very_many_entries_is_read(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    for number in range(3000):
        (root / f"sys/bus/usb/devices/9-{number}").symlink_to("../../../devices/gone")
    assert coverage_of(look(root), "pci").state.value == "ok"


@pytest.mark.parametrize(
    ("make", "problem"),
    [
        (lambda _path: None, "does not exist"),
        (lambda path: path.write_text("x"), "is a file"),
        (lambda path: path.mkdir(), "holds no folder named sys"),
        (lambda path: (path.mkdir(), (path / "sys").write_text("x")), "its sys cannot be read"),
        (lambda path: (path.mkdir(), (path / "sys").symlink_to("/sys")), "its sys is a link"),
    ],
    ids=["missing", "a file", "no sys", "sys is a file", "sys is a link"],
)
def test_what_is_no_copied_tree_is_told_in_one_sentence(
    tmp_path: Path, make: Callable[[Path], object], problem: str
) -> None:
    make(tmp_path / "tree")
    with pytest.raises(BadTree) as caught:
        CopiedTree(str(tmp_path / "tree"))
    assert problem in str(caught.value)
    assert "\n" not in str(caught.value)
    assert str(tmp_path / "tree") in str(caught.value)


# --- The live tree --------------------------------------------------------------------


def test_a_device_that_holds_back_an_attribute_does_not_hold_up_the_capture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """USB strings wait for the device's lock while the hub thread retries it (drivers/usb/core/sysfs.c)."""
    released = threading.Event()
    monkeypatch.setattr("usbwatch.capture.live.PATIENCE_S", 0.05)
    monkeypatch.setattr("usbwatch.capture.live.read_regular", lambda *_: released.wait(10) and b"late")
    with pytest.raises(OSError, match="not readable in time") as caught:
        LiveTree().read(str(tmp_path / "product").lstrip("/"))
    released.set()
    assert caught.value.errno == errno.ETIMEDOUT


def test_after_a_stuck_attribute_the_next_one_is_read_and_gets_its_own_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    released = threading.Event()
    monkeypatch.setattr("usbwatch.capture.live.PATIENCE_S", 0.05)
    monkeypatch.setattr(
        "usbwatch.capture.live.read_regular",
        lambda path, _limit: path.encode() if "quick" in path else released.wait(10) and b"late",
    )
    tree, folder = LiveTree(), str(tmp_path).lstrip("/")
    with pytest.raises(OSError, match="not readable in time"):
        tree.read(f"{folder}/stuck/product")
    released.set()
    assert [tree.read(f"{folder}/quick-{number}/product") for number in "12"] == [
        f"/{folder}/quick-{number}/product".encode() for number in "12"
    ]


def test_a_stuck_device_is_waited_for_once_and_its_other_guarded_attributes_count_as_unread(
    loose_tree: _Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One lock guards them all (drivers/usb/core/sysfs.c), so ten attributes must not cost ten waits."""
    folder = f"{str(loose_tree(LARCH)).lstrip('/')}/{_CAMERA}"
    released = threading.Event()
    asked: list[str] = []

    def stuck(path: str, _limit: int) -> bytes:
        asked.append(path)
        released.wait(10)
        return b"late"

    monkeypatch.setattr("usbwatch.capture.live.PATIENCE_S", 0.05)
    monkeypatch.setattr("usbwatch.capture.live.read_regular", stuck)
    sight = Sight(LiveTree())
    assert dict(sight.texts(folder, ("manufacturer", "product", "serial"))) == {}
    released.set()
    assert asked == [f"/{folder}/manufacturer"]
    assert sight.refused == [(f"{folder}/{name}", errno.ETIMEDOUT) for name in ("manufacturer", "product", "serial")]


def test_a_live_tree_reads_guarded_attributes_in_one_thread_that_ends_with_it(tmp_path: Path) -> None:
    (tmp_path / "product").write_bytes(b"text\n")
    before = set(threading.enumerate())
    tree = LiveTree()
    for _ in range(5):
        tree.read(f"{tmp_path}/product".lstrip("/"))
    (reader,) = set(threading.enumerate()) - before
    del tree
    reader.join(10)
    assert not reader.is_alive()


@pytest.mark.parametrize("name", ["product", "idVendor"], ids=["guarded", "plain"])
def test_a_live_attribute_is_read_and_a_missing_one_says_so(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"text\n")
    tree, folder = LiveTree(), str(tmp_path).lstrip("/")
    assert tree.read(f"{folder}/{name}") == b"text\n"
    (tmp_path / name).unlink()
    with pytest.raises(FileNotFoundError):
        tree.read(f"{folder}/{name}")


def test_the_one_folder_that_holds_the_copy_is_named(tmp_path: Path) -> None:
    (tmp_path / "LG-0001-DEMO" / "sys").mkdir(parents=True)
    (tmp_path / "notes").mkdir()
    with pytest.raises(BadTree, match="holds no folder named sys; give its folder LG-0001-DEMO"):
        CopiedTree(str(tmp_path))
    (tmp_path / "LG-0002-DEMO" / "sys").mkdir(parents=True)
    with pytest.raises(BadTree, match="holds no folder named sys; give the folder that holds the copied sys"):
        CopiedTree(str(tmp_path))
