"""A copied tree in a tar archive answers as the folder does, and a hostile archive is one sentence."""

from __future__ import annotations

import contextlib
import errno
import gzip
import io
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
from usbwatch.errors import BadTree
from usbwatch.model import Capture

_Tree = Callable[..., Path]


def _look(path: Path) -> Capture:
    tree = ArchiveTree(str(path))
    return take(tree, taken_at="2026-03-02T09:14:00Z", log=copied_log(tree))


# --- The same as the folder -----------------------------------------------------------


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


# --- Hostile archives -------------------------------------------------------------------------


def _member(name: str, content: bytes = b"", **facts: object) -> tuple[tarfile.TarInfo, bytes]:
    member = tarfile.TarInfo(name)
    member.size = len(content)
    for key, value in facts.items():
        setattr(member, key, value)
    return member, content


_GOOD = (_member("sys/bus/usb", type=tarfile.DIRTYPE), _member("sys/value", b"right\n"))


def _archive(*members: tuple[tarfile.TarInfo, bytes], form: int = tarfile.GNU_FORMAT) -> bytes:
    file = io.BytesIO()
    with tarfile.open(fileobj=file, mode="w", format=form) as archive:
        for member, content in members:
            archive.addfile(member, io.BytesIO(content))
    return file.getvalue()


def _with_sum(header: bytearray) -> bytes:
    header[148:156] = b" " * 8
    header[148:156] = b"%06o\0 " % sum(header)
    return bytes(header)


def _header(name: bytes, flag: bytes, size: bytes) -> bytes:
    header = bytearray(512)
    header[: len(name)] = name
    header[124 : 124 + len(size)] = size
    header[156:157] = flag
    header[257:265] = b"ustar\00000"
    return _with_sum(header)


_PLAIN = _archive(*_GOOD)
_END = bytes(1024)

_WRONG = {
    "no archive": (b"not a tar archive\n" * 100, "is a file, and no tar archive"),
    "empty": (b"", "is a file, and no tar archive"),
    "one byte": (b"\x1f", "is a file, and no tar archive"),
    "zip": (b"PK\x03\x04" + bytes(600), "is compressed \\(zip\\); unpack it"),
    "xz": (b"\xfd7zXZ\0" + bytes(600), "is compressed \\(xz\\); unpack it"),
    "no sys": (_archive(_member("proc/version", b"x")), "holds no folder named sys"),
    "sys is a file": (_archive(_member("sys", b"x")), "its sys is a file"),
    "sys is a link": (_archive(_member("sys", type=tarfile.SYMTYPE, linkname="/sys")), "its sys is a link"),
    "sys is empty": (_archive(_member("sys", type=tarfile.DIRTYPE)), "holds neither bus nor class"),
    "two trees": (_archive(_member("a/sys/bus/x", b""), _member("b/sys/bus/x", b"")), "holds no folder named sys"),
    "a name that climbs": (_archive(*_GOOD, _member("sys/../../etc/x", b"x")), "leads out of it"),
    "an absolute name": (_archive(*_GOOD, _member("/etc/passwd", b"x")), "leads out of it"),
    "a hard link that climbs": (
        _archive(*_GOOD, _member("sys/x", type=tarfile.LNKTYPE, linkname="../../etc/passwd")),
        "leads out of it",
    ),
    "a file below a file": (_archive(*_GOOD, _member("sys/value/x", b"x")), "below something that is no folder"),
    "a file below a link": (
        _archive(*_GOOD, _member("sys/l", type=tarfile.SYMTYPE, linkname="/etc"), _member("sys/l/x", b"x")),
        "below something that is no folder",
    ),
    "a file in place of a folder": (_archive(*_GOOD, _member("sys/bus", b"x")), "as a folder and as something else"),
    "a long name": (_archive(*_GOOD, _member("sys/" + "n" * 256, b"x")), "longer path than any"),
    "a deep path": (_archive(*_GOOD, _member("sys/" + "d/" * 100 + "x", b"x")), "longer path than any"),
    "a very long path": (
        _archive(*_GOOD, _member("sys/" + "d" * 200 + "/" * 5000 + "x", b"x")),
        "longer path than any",
    ),
    "escapes in a name": (_archive(*_GOOD, _member("sys/\x1b[2J\n/../x", b"x")), r"\\x1b\[2J\\x0a"),
    "a NUL in a pax path": (
        _header(b"x", b"x", b"17") + b"15 path=sys/a\0b\n".ljust(512, b"\0") + _header(b"y", b"0", b"0") + _END,
        "extended header that is damaged",
    ),
    "a pax header of digits": (_header(b"x", b"x", b"%o" % 60_000) + b"1" * 60_416 + _END, "header that is damaged"),
    "a pax header of a gigabyte": (_header(b"x", b"x", b"10000000000") + _END, "longer extended header"),
    "long names without end": (_header(b"x", b"L", b"1") + b"a".ljust(512, b"\0") + _END, None),
    "fifty extended headers": (
        (_header(b"x", b"L", b"1") + b"a".ljust(512, b"\0")) * 50 + _END,
        "longer extended header",
    ),
    "a pax size below zero": (
        _header(b"x", b"x", b"13") + b"11 size=-9\n".ljust(512, b"\0") + _header(b"y", b"0", b"0") + _END,
        "without a length",
    ),
    "a pax size of forty digits": (
        _header(b"x", b"x", b"60") + b"48 size=" + b"9" * 39 + b"\n" + bytes(464) + _header(b"y", b"0", b"0") + _END,
        "without a length",
    ),
    "a size that is no number": (_header(b"sys/x", b"0", b"twelve") + _END, "without a length"),
    "a size below zero, base 256": (_header(b"sys/x", b"0", b"\xff" * 12) + _END, "without a length"),
    "a size beyond all limits": (_header(b"sys/x", b"0", b"\x80" + b"\xff" * 11) + _END, "ends in the middle"),
    "a sparse file, GNU": (_header(b"sys/x", b"S", b"0") + _END, "holes in it"),
    "a sparse file, pax": (
        _header(b"x", b"x", b"30") + b"24 GNU.sparse.size=9999\n".ljust(512, b"\0") + _END,
        "holes in it",
    ),
    "one volume of several": (_header(b"sys/x", b"M", b"0") + _END, "one part of several"),
    "no end": (_PLAIN[: 512 * 3], "ends in the middle"),
    "gzip cut short": (gzip.compress(_PLAIN)[:-9], "ends in the middle"),
    "gzip damaged": (gzip.compress(_PLAIN)[:-8] + b"\0" * 8, "gzip and damaged"),
    "gzip and more": (gzip.compress(_PLAIN) + b"more", "followed by something else"),
    "a thousand gzip members": (gzip.compress(b"") * 1000, "followed by something else"),
}


@pytest.mark.parametrize(("content", "problem"), _WRONG.values(), ids=_WRONG)
def test_a_bad_archive_is_one_sentence(tmp_path: Path, content: bytes, problem: str | None) -> None:
    path = tmp_path / "unit.tar"
    path.write_bytes(content)
    with pytest.raises(BadTree, match=problem) as caught:
        ArchiveTree(str(path))
    told = str(caught.value)
    assert told.startswith(f"tree {path}: ")
    assert "\n" not in told
    assert ";" in told


def _of(tmp_path: Path, *members: tuple[tarfile.TarInfo, bytes]) -> ArchiveTree:
    (tmp_path / "unit.tar").write_bytes(_archive(*_GOOD, *members))
    return ArchiveTree(str(tmp_path / "unit.tar"))


@pytest.mark.parametrize("kind", [tarfile.CHRTYPE, tarfile.BLKTYPE, tarfile.FIFOTYPE, b"Z"])
def test_what_is_neither_file_nor_link_is_there_and_never_read(tmp_path: Path, kind: bytes) -> None:
    tree = _of(tmp_path, _member("sys/odd", type=kind))
    assert "odd" in tree.list("sys")
    with pytest.raises(OSError, match="not a regular file") as caught:
        tree.read("sys/odd")
    assert caught.value.errno == errno.EINVAL


def test_of_two_entries_for_one_path_the_last_counts(tmp_path: Path) -> None:
    assert _of(tmp_path, _member("./sys//value", b"later\n")).read("sys/value") == b"later\n"


def test_a_hard_link_is_what_it_names(tmp_path: Path) -> None:
    same = _member("sys/same", type=tarfile.LNKTYPE, linkname="sys/value")
    lost = _member("sys/lost", type=tarfile.LNKTYPE, linkname="sys/nothing")
    tree = _of(tmp_path, same, lost)
    assert tree.read("sys/same") == b"right\n"
    with pytest.raises(OSError, match="not a regular file"):
        tree.read("sys/lost")


@pytest.mark.parametrize("target", ["/etc", "../../..", "../../../etc", "loop", "../sys/../../x"])
def test_a_link_that_leads_out_leads_nowhere(tmp_path: Path, target: str) -> None:
    tree = _of(tmp_path, _member("sys/loop", type=tarfile.SYMTYPE, linkname=target))
    assert tree.link("sys/loop") == target
    for ask in (tree.read, tree.list, tree.link):
        with pytest.raises(OSError, match=r"leads out|a link in place"):
            ask("sys/loop/passwd")


@pytest.mark.parametrize("path", ["sys/../../outside/value", "..", "sys/..", "../x"])
def test_a_question_that_climbs_is_refused(tmp_path: Path, path: str) -> None:
    tree = _of(tmp_path)
    for ask in (tree.read, tree.list, tree.link):
        with pytest.raises(PermissionError):
            ask(path)


def test_every_cut_of_an_archive_is_told(tmp_path: Path) -> None:
    """An archive that lacks its last entries must not pass for a unit that lacks them."""
    whole = _PLAIN.rstrip(b"\0")
    path = tmp_path / "unit.tar"
    for length in range(0, len(whole) // 512 * 512 + 1, 64):
        path.write_bytes(_PLAIN[:length])
        with pytest.raises(BadTree):
            ArchiveTree(str(path))


@pytest.mark.properties
@settings(deadline=None)
@given(at=st.integers(0, len(_PLAIN) - 1), bits=st.integers(1, 255), packed=st.booleans())
def test_a_damaged_archive_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, at: int, bits: int, packed: bool
) -> None:
    content = bytearray(gzip.compress(_PLAIN, mtime=0) if packed else _PLAIN)
    content[at % len(content)] ^= bits
    path = tmp_path_factory.mktemp("damaged") / "unit.tar"
    path.write_bytes(content)
    with contextlib.suppress(BadTree):
        assert take(ArchiveTree(str(path)), taken_at="").coverage


_MOST_KIB = 400 * 1024
"""KiB of memory that an archive may cost at most, whatever is in it; the interpreter and the program included."""


def _deep_folders(count: int) -> bytes:
    return b"".join(
        _header(b"x", b"L", b"%o" % 250) + (b"%d/" % n + b"d/" * 90).ljust(512, b"\0") + _header(b"y", b"0", b"0")
        for n in range(count)
    )


def _manifest(*lines: str) -> tuple[tarfile.TarInfo, bytes]:
    return _member("meta/unread.txt", "\n".join(lines).encode())


def _far_links() -> bytes:
    """Short names that lead over one link to places 4,000 bytes away, each named as unread and asked for."""
    far = _member("sys/far", type=tarfile.SYMTYPE, linkname="/".join(["f" * 50] * 80))
    devices = (
        _member(f"sys/bus/usb/devices/{n}-1", type=tarfile.SYMTYPE, linkname="../../../far/x") for n in range(40_000)
    )
    manifest = _manifest(*(f"sys/far/{n}/x\tEIO" for n in range(1_500)))
    return _archive(*_GOOD, far, *devices, manifest)


_LONG_WAY = "/".join(["\u4e2d" * 250] * 8)

_COSTLY: dict[str, tuple[Callable[[], bytes], str]] = {
    "a gzip bomb": (
        lambda: gzip.compress(_PLAIN[:-1024] + bytes(512) + bytes(300 * 1024 * 1024), 1),
        "far more than a unit's tree",
    ),
    "too many entries": (
        lambda: b"".join(_header(b"sys/bus/%d" % n, b"0", b"0") for n in range(200_001)) + _END,
        "more than 200000 entries",
    ),
    "too much content": (
        lambda: b"".join(_header(b"sys/%d" % n, b"0", b"%o" % 2**20) + bytes(2**20) for n in range(65)),
        "more than 64 MiB together",
    ),
    "deep folders": (lambda: _deep_folders(20_000), "more than 200000 entries"),
    "deep folders and much content": (
        lambda: (
            _deep_folders(2_100)
            + b"".join(_header(b"sys/%d" % n, b"0", b"%o" % 2**20) + bytes(2**20) for n in range(63))
            + _archive(*_GOOD)
        ),
        "",
    ),
    "deep paths that could not be read": (
        lambda: _archive(*_GOOD, _manifest(*(f"sys/{n:x}/{'/'.join('a' * 97)}\tEIO" for n in range(20_281)))),
        "meta/unread.txt names more than a unit has",
    ),
    "long paths that could not be read": (
        lambda: _archive(*_GOOD, _manifest(*(f"sys/{n:x}/{_LONG_WAY}\tEIO" for n in range(1_000)))),
        "meta/unread.txt names more than a unit has",
    ),
    "links that lead far": (_far_links, ""),
    "long link targets": (
        lambda: _archive(
            *_GOOD, *(_member(f"sys/{n}", type=tarfile.SYMTYPE, linkname="t" * 4000) for n in range(17_000))
        ),
        "more than 64 MiB",
    ),
    "link targets beyond any": (
        lambda: _archive(*_GOOD, _member("sys/l", type=tarfile.SYMTYPE, linkname="t" * 60_000)),
        "a link with a longer target",
    ),
    "long names": (
        lambda: _archive(*_GOOD, *(_member(f"sys/{n:06}" + "\U0001f4bb" * 240, b"") for n in range(12_000))),
        "",
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize(("made", "told"), _COSTLY.values(), ids=_COSTLY)
def test_no_archive_costs_more_memory_than_a_bound(tmp_path: Path, made: Callable[[], bytes], told: str) -> None:
    """Refused, or read and looked at as a whole."""
    path = tmp_path / "unit.tar"
    content = made()
    path.write_bytes(content if content.startswith(b"\x1f\x8b") else gzip.compress(content, 1))
    code = textwrap.dedent("""
        import sys
        from pathlib import Path
        from usbwatch.capture import ArchiveTree, take
        from usbwatch.errors import BadTree
        try:
            take(ArchiveTree(sys.argv[1]), taken_at="")
            said = ""
        except BadTree as error:
            said = str(error)
        print(Path("/proc/self/status").read_text().partition("VmHWM:")[2].split()[0], said)
    """)
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    peak, _, said = done.stdout.partition(" ")
    assert told in said
    assert said.count("\n") == 1
    assert bool(told) == bool(said.strip()), said
    assert 1000 < int(peak) <= _MOST_KIB, said
