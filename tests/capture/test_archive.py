"""A copied tree in a tar archive answers as the folder does."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
import tarfile
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.looking import look
from support.needs import needed_tool
from support.units import LARCH

from usbwatch.capture import ArchiveTree, CopiedTree, Tree, copied_log, opened_tree, take
from usbwatch.model import Capture

_Tree = Callable[..., Path]


def _look(path: Path) -> Capture:
    tree = ArchiveTree(str(path))
    return take(tree, taken_at="2026-03-02T09:14:00Z", log=copied_log(tree))


def _by_gnu_tar(*options: str) -> Callable[[Path, Path], None]:
    """GNU tar, the reference implementation of its own format and of pax."""

    def make(root: Path, target: Path) -> None:
        tar = needed_tool("tar", "tar")
        subprocess.run([tar, *options, "-cf", str(target), "-C", str(root), "."], check=True)

    return make


def _by_busybox(root: Path, target: Path) -> None:
    busybox = needed_tool("busybox", "busybox-static")
    subprocess.run([busybox, "tar", "-cf", str(target), "-C", str(root), "."], check=True)


def _by_library(form: int) -> Callable[[Path, Path], None]:
    def make(root: Path, target: Path) -> None:
        with tarfile.open(target, "w", format=form) as archive:
            archive.add(root, "LG-0001-DEMO")

    return make


_ARCHIVERS: dict[str, Callable[[Path, Path], None]] = {
    "GNU tar, gnu": _by_gnu_tar("--format=gnu"),
    "GNU tar, pax": _by_gnu_tar("--format=pax"),
    "GNU tar, posix by gzip": _by_gnu_tar("--format=posix", "-z"),
    "busybox": _by_busybox,
    "library, gnu, in a folder": _by_library(tarfile.GNU_FORMAT),
    "library, pax, in a folder": _by_library(tarfile.PAX_FORMAT),
}


@pytest.mark.parametrize("archiver", _ARCHIVERS.values(), ids=_ARCHIVERS)
def test_the_capture_of_an_archive_is_that_of_the_folder(
    built_tree: _Tree, tmp_path: Path, archiver: Callable[[Path, Path], None]
) -> None:
    root = built_tree(LARCH)
    archiver(root, tmp_path / "unit.tar")
    assert _look(tmp_path / "unit.tar") == look(root)


def test_the_capture_of_a_real_kernels_tree_is_the_same(real_tree: _Tree, tmp_path: Path) -> None:
    root = real_tree("healthy")
    _by_gnu_tar("-z")(root, tmp_path / "unit.tar.gz")
    capture = _look(tmp_path / "unit.tar.gz")
    assert capture == look(root)
    assert len(capture.nodes) > 50


_LINK_TARGETS = st.builds(
    lambda up, names: "/".join([*[".."] * up, *names]) or ".",
    st.integers(0, 4),
    st.lists(st.sampled_from(["a", "b", "c", "sys"]), max_size=3),
)
"""As the kernel makes them; what climbs after a name has a table of its own below."""
_FILES = st.binary(max_size=8)
_PLACES = st.recursive(
    st.one_of(_FILES, _LINK_TARGETS),
    lambda below: st.dictionaries(st.sampled_from("abc"), below, max_size=3),
    max_leaves=8,
)


def _laid_out(folder: Path, held: object) -> None:
    if isinstance(held, dict):
        folder.mkdir()
        for name, below in held.items():
            _laid_out(folder / name, below)
    elif isinstance(held, bytes):
        folder.write_bytes(held)
    else:
        folder.symlink_to(str(held))


def _asked(tree: Tree, path: str) -> list[object]:
    return [_answer(ask, path) for ask in (tree.list, tree.read, tree.link)]


def _answer(ask: Callable[[str], object], path: str) -> object:
    try:
        return ask(path)
    except OSError as error:
        # A link in circles: the folder's kernel says ELOOP where the archive says that it leads nowhere.
        return "leads nowhere" if error.errno in (errno.EPERM, errno.ELOOP) else errno.errorcode[error.errno or 0]


def _paths(names: str, depth: int) -> Iterator[str]:
    for name in names:
        yield name
        if depth:
            yield from (f"{name}/{below}" for below in _paths(names, depth - 1))


_NOTED = st.dictionaries(st.sampled_from(sorted(_paths("abc", 2))), st.sampled_from(["EACCES", "EIO", "ENODEV"]))


@pytest.mark.properties
@settings(deadline=None)
@given(held=st.dictionaries(st.sampled_from("abc"), _PLACES, max_size=3), unread=_NOTED)
def test_every_question_has_the_folders_own_answer(
    tmp_path_factory: pytest.TempPathFactory, held: dict[str, object], unread: dict[str, str]
) -> None:
    folder = tmp_path_factory.mktemp("held")
    lines = "".join(f"/sys/{path}\t{error}\n" for path, error in unread.items())
    meta = {"unread.txt": lines.encode()}
    _laid_out(folder / "tree", {"sys": {"bus": {}, **held}, "meta": meta})
    _by_library(tarfile.PAX_FORMAT)(folder / "tree", folder / "unit.tar")
    ours, reference = ArchiveTree(str(folder / "unit.tar")), CopiedTree(str(folder / "tree"))
    for path in ["sys", *(f"sys/{path}" for path in _paths("abc", 3))]:
        assert _asked(ours, path) == _asked(reference, path), path


_CLIMBING = {
    "after a name": ("class/../devices/x", b"real"),
    "after a link, to inside": ("far/../x", b"real"),
    "after a link, to outside": ("out/../secret", b""),
    "through the root": ("devices/../../sys/devices/x", b"real"),
    "out and in again": ("devices/../../../tree/sys/devices/x", b""),
}


@pytest.mark.parametrize(("target", "content"), _CLIMBING.values(), ids=_CLIMBING)
def test_a_link_that_climbs_after_a_name_is_followed_as_the_kernel_does(
    tmp_path: Path, target: str, content: bytes
) -> None:
    """path_resolution(7): ``..`` after a link climbs from where that leads."""
    _laid_out(
        tmp_path / "tree",
        {
            "sys": {
                "class": {},
                "devices": {"x": {"value": b"real"}, "y": {}},
                "far": "devices/y",
                "out": "../..",
                "link": target,
            },
        },
    )
    _by_library(tarfile.PAX_FORMAT)(tmp_path / "tree", tmp_path / "unit.tar")
    tree = ArchiveTree(str(tmp_path / "unit.tar"))
    if content:
        assert tree.read("sys/link/value") == (tmp_path / "tree/sys/link/value").read_bytes() == content
    else:
        with pytest.raises(PermissionError):
            tree.read("sys/link/value")


def test_nothing_but_the_archive_is_opened(built_tree: _Tree, tmp_path: Path) -> None:
    """By Python's audit events: no file is made, and none beside the archive is read."""
    _by_gnu_tar("-z")(built_tree(LARCH), tmp_path / "unit.tar")
    code = textwrap.dedent("""
        import json, sys
        from usbwatch.capture import ArchiveTree, copied_log, take
        import usbwatch.capture.look, usbwatch.capture.log.survey
        def made():
            tree = ArchiveTree(sys.argv[1])
            return take(tree, taken_at="", log=copied_log(tree))
        made()
        seen = []
        sys.addaudithook(lambda event, arguments: seen.append([event, str(arguments[0])]) if event == "open" or
            event.startswith("os.") else None)
        nodes = len(made().nodes)
        json.dump([nodes, seen], sys.stdout)
    """)
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "unit.tar")], capture_output=True, text=True, check=True
    )
    nodes, seen = json.loads(done.stdout)
    assert nodes > 50
    assert [one for one in seen if not one[1].isdigit()] == [["open", str(tmp_path / "unit.tar")]]


# --- What could not be read on the unit ---------------------------------------------------

_REFUSALS = {
    "sys/bus/i2c/devices": errno.EACCES,
    "sys/firmware/dmi/tables/DMI": errno.EACCES,
    "sys/class/dmi/id/product_serial": errno.EACCES,
    "sys/devices/pci0000:00/0000:00:14.0/usb1/1-5/product": errno.EIO,
    "sys/devices/pci0000:00/0000:00:14.0/usb1/1-5/descriptors": errno.ENODEV,
    "meta/dmesg.txt": errno.EPERM,
}
"""As any user's look at a live machine, with a camera that is about to go."""


class _Refusing(CopiedTree):
    """The whole tree, refusing as the unit did."""

    def list(self, path: str) -> tuple[str, ...]:
        self._refuse(path)
        return super().list(path)

    def read(self, path: str, limit: int = 65_536) -> bytes:
        self._refuse(path)
        return super().read(path, limit)

    def _refuse(self, path: str) -> None:
        real = self._guarded(path)
        error = next((error for named, error in _REFUSALS.items() if self._guarded(named) == real), 0)
        if error:
            raise OSError(error, "refused", path)


@pytest.mark.parametrize("words", ["names", "messages"])
@pytest.mark.parametrize("form", ["folder", "archive", "archive with what was begun"])
def test_what_was_refused_on_the_unit_counts_as_refused(
    loose_tree: _Tree, tmp_path: Path, form: str, words: str
) -> None:
    root = loose_tree(LARCH)
    (root / "sys/firmware/dmi/tables").mkdir(parents=True, exist_ok=True)
    (root / "sys/firmware/dmi/tables/DMI").write_bytes(b"never read")
    expected = take(_Refusing(str(root)), taken_at="", log=None)
    for path in _REFUSALS:
        if form == "archive with what was begun" and (root / path).is_file():
            (root / path).write_bytes(b"")
        elif (root / path).is_dir():
            (root / path).rename(tmp_path / "away")
        else:
            (root / path).unlink()
    said = {error: errno.errorcode[error] if words == "names" else os.strerror(error) for error in _REFUSALS.values()}
    lines = [f"/{path}\tcat: /{path}: {said[error]}" for path, error in _REFUSALS.items()]
    plain = [f"{path}\t{said[error]}" for path, error in _REFUSALS.items()]
    manifest = "\n".join(lines if words == "messages" else plain)
    (root / "meta/unread.txt").write_text(f"{manifest}\nsys/gone\tENOENT\nno tab\n\n../../etc\tEACCES\n")
    if form != "folder":
        _by_gnu_tar()(root, tmp_path / "unit.tar")
    tree = opened_tree(str(root if form == "folder" else tmp_path / "unit.tar"))
    capture = take(tree, taken_at="", log=copied_log(tree))
    assert capture.nodes == expected.nodes
    by_bus = {one.bus: one for one in capture.coverage}
    for one in expected.coverage:
        if one.bus not in ("log", "i2c"):
            assert by_bus[one.bus] == one
    assert by_bus["usb"].unread == 1
    assert by_bus["dmi"].unread_names == ("product_serial",)
    # These two say of a copy without a manifest that it has nothing, and of a live machine that rights are lacking.
    for bus in ("log", "i2c"):
        assert (by_bus[bus].state.value, by_bus[bus].root_would_help) == ("not permitted", True)
