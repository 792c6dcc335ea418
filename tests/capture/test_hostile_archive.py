"""A hostile or damaged tar archive is one sentence, and nothing outside it is ever asked for."""

from __future__ import annotations

import contextlib
import errno
import gzip
import tarfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.tar_streams import END, GOOD, PLAIN, header, member, tar_of

from usbwatch.capture import ArchiveTree, take
from usbwatch.errors import BadTree

_WRONG = {
    "no archive": (b"not a tar archive\n" * 100, "is a file, and no tar archive"),
    "empty": (b"", "is a file, and no tar archive"),
    "one byte": (b"\x1f", "is a file, and no tar archive"),
    "zip": (b"PK\x03\x04" + bytes(600), "is compressed \\(zip\\); unpack it"),
    "xz": (b"\xfd7zXZ\0" + bytes(600), "is compressed \\(xz\\); unpack it"),
    "no sys": (tar_of(member("proc/version", b"x")), "holds no folder named sys"),
    "sys is a file": (tar_of(member("sys", b"x")), "its sys is a file"),
    "sys is a link": (tar_of(member("sys", type=tarfile.SYMTYPE, linkname="/sys")), "its sys is a link"),
    "sys is empty": (tar_of(member("sys", type=tarfile.DIRTYPE)), "holds neither bus nor class"),
    "two trees": (tar_of(member("a/sys/bus/x", b""), member("b/sys/bus/x", b"")), "holds no folder named sys"),
    "a name that climbs": (tar_of(*GOOD, member("sys/../../etc/x", b"x")), "leads out of it"),
    "an absolute name": (tar_of(*GOOD, member("/etc/passwd", b"x")), "leads out of it"),
    "a hard link that climbs": (
        tar_of(*GOOD, member("sys/x", type=tarfile.LNKTYPE, linkname="../../etc/passwd")),
        "leads out of it",
    ),
    "a file below a file": (tar_of(*GOOD, member("sys/value/x", b"x")), "below something that is no folder"),
    "a file below a link": (
        tar_of(*GOOD, member("sys/l", type=tarfile.SYMTYPE, linkname="/etc"), member("sys/l/x", b"x")),
        "below something that is no folder",
    ),
    "a file in place of a folder": (tar_of(*GOOD, member("sys/bus", b"x")), "as a folder and as something else"),
    "a long name": (tar_of(*GOOD, member("sys/" + "n" * 256, b"x")), "longer path than any"),
    "a deep path": (tar_of(*GOOD, member("sys/" + "d/" * 100 + "x", b"x")), "longer path than any"),
    "a very long path": (
        tar_of(*GOOD, member("sys/" + "d" * 200 + "/" * 5000 + "x", b"x")),
        "longer path than any",
    ),
    "escapes in a name": (tar_of(*GOOD, member("sys/\x1b[2J\n/../x", b"x")), r"\\x1b\[2J\\x0a"),
    "a NUL in a pax path": (
        header(b"x", b"x", b"17") + b"15 path=sys/a\0b\n".ljust(512, b"\0") + header(b"y", b"0", b"0") + END,
        "extended header that is damaged",
    ),
    "a pax header of digits": (header(b"x", b"x", b"%o" % 60_000) + b"1" * 60_416 + END, "header that is damaged"),
    "a pax header of a gigabyte": (header(b"x", b"x", b"10000000000") + END, "longer extended header"),
    "long names without end": (header(b"x", b"L", b"1") + b"a".ljust(512, b"\0") + END, None),
    "fifty extended headers": (
        (header(b"x", b"L", b"1") + b"a".ljust(512, b"\0")) * 50 + END,
        "longer extended header",
    ),
    "a pax size below zero": (
        header(b"x", b"x", b"13") + b"11 size=-9\n".ljust(512, b"\0") + header(b"y", b"0", b"0") + END,
        "without a length",
    ),
    "a pax size of forty digits": (
        header(b"x", b"x", b"60") + b"48 size=" + b"9" * 39 + b"\n" + bytes(464) + header(b"y", b"0", b"0") + END,
        "without a length",
    ),
    "a size that is no number": (header(b"sys/x", b"0", b"twelve") + END, "without a length"),
    "a size below zero, base 256": (header(b"sys/x", b"0", b"\xff" * 12) + END, "without a length"),
    "a size beyond all limits": (header(b"sys/x", b"0", b"\x80" + b"\xff" * 11) + END, "ends in the middle"),
    "a sparse file, GNU": (header(b"sys/x", b"S", b"0") + END, "holes in it"),
    "a sparse file, pax": (
        header(b"x", b"x", b"30") + b"24 GNU.sparse.size=9999\n".ljust(512, b"\0") + END,
        "holes in it",
    ),
    "one volume of several": (header(b"sys/x", b"M", b"0") + END, "one part of several"),
    "no end": (PLAIN[: 512 * 3], "ends in the middle"),
    "gzip cut short": (gzip.compress(PLAIN)[:-9], "ends in the middle"),
    "gzip damaged": (gzip.compress(PLAIN)[:-8] + b"\0" * 8, "gzip and damaged"),
    "gzip and more": (gzip.compress(PLAIN) + b"more", "followed by something else"),
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
    (tmp_path / "unit.tar").write_bytes(tar_of(*GOOD, *members))
    return ArchiveTree(str(tmp_path / "unit.tar"))


@pytest.mark.parametrize("kind", [tarfile.CHRTYPE, tarfile.BLKTYPE, tarfile.FIFOTYPE, b"Z"])
def test_what_is_neither_file_nor_link_is_there_and_never_read(tmp_path: Path, kind: bytes) -> None:
    tree = _of(tmp_path, member("sys/odd", type=kind))
    assert "odd" in tree.list("sys")
    with pytest.raises(OSError, match="not a regular file") as caught:
        tree.read("sys/odd")
    assert caught.value.errno == errno.EINVAL


def test_of_two_entries_for_one_path_the_last_counts(tmp_path: Path) -> None:
    assert _of(tmp_path, member("./sys//value", b"later\n")).read("sys/value") == b"later\n"


def test_a_hard_link_is_what_it_names(tmp_path: Path) -> None:
    same = member("sys/same", type=tarfile.LNKTYPE, linkname="sys/value")
    lost = member("sys/lost", type=tarfile.LNKTYPE, linkname="sys/nothing")
    tree = _of(tmp_path, same, lost)
    assert tree.read("sys/same") == b"right\n"
    with pytest.raises(OSError, match="not a regular file"):
        tree.read("sys/lost")


@pytest.mark.parametrize("target", ["/etc", "../../..", "../../../etc", "loop", "../sys/../../x"])
def test_a_link_that_leads_out_leads_nowhere(tmp_path: Path, target: str) -> None:
    tree = _of(tmp_path, member("sys/loop", type=tarfile.SYMTYPE, linkname=target))
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
    whole = PLAIN.rstrip(b"\0")
    path = tmp_path / "unit.tar"
    for length in range(0, len(whole) // 512 * 512 + 1, 64):
        path.write_bytes(PLAIN[:length])
        with pytest.raises(BadTree):
            ArchiveTree(str(path))


@pytest.mark.properties
@settings(deadline=None)
@given(at=st.integers(0, len(PLAIN) - 1), bits=st.integers(1, 255), packed=st.booleans())
def test_a_damaged_archive_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, at: int, bits: int, packed: bool
) -> None:
    content = bytearray(gzip.compress(PLAIN, mtime=0) if packed else PLAIN)
    content[at % len(content)] ^= bits
    path = tmp_path_factory.mktemp("damaged") / "unit.tar"
    path.write_bytes(content)
    with contextlib.suppress(BadTree):
        assert take(ArchiveTree(str(path)), taken_at="").coverage
