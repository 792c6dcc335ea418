"""Archives that were spoiled, or made to do harm: each is refused with one sentence, and the book is as it was."""

from __future__ import annotations

import os
import re
import struct
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.archives import (
    MANIFEST,
    OPENED,
    PART,
    UNIT,
    canonical,
    digest_of,
    entry,
    everything_in,
    exported,
    manifest,
    plain_member,
    stream_of,
    unit_block,
    whole,
    zipped,
)
from support.make_casebook import fill

from usbwatch.capture.document import Json
from usbwatch.capture.saved import load_saved
from usbwatch.casebook import Book, When, open_book
from usbwatch.casebook.exchange import Imported, import_units
from usbwatch.errors import BadArchive
from usbwatch.model.history import Noted, Opened

_NOW = When(now="2026-03-02T09:20:00Z")
_STREAM = unit_block()
_GOOD = whole(_STREAM)
_MIB = 1024 * 1024
_DEFLATED, _STORED = zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED


def _refusal(book: Book, path: Path, content: bytes | None = None) -> str:
    """The sentence with which an archive is refused; nothing is written."""
    if content is not None:
        path.write_bytes(content)
    before = everything_in(book)
    with pytest.raises(BadArchive) as caught:
        import_units(book, str(path))
    assert everything_in(book) == before
    sentence = str(caught.value)
    assert sentence.startswith(f"archive {path}: ")
    assert sentence.endswith(".")
    assert sentence.isprintable(), "one line, with nothing that a terminal would obey"
    return sentence


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Book]:
    """A book with two units, in a file."""
    made = open_book(str(tmp_path / "here.sqlite"))
    fill(made)
    yield made
    made.close()


def test_an_archive_made_by_hand_from_the_formats_page_is_taken_in(book: Book, tmp_path: Path) -> None:
    """Without this one, the refusals below would say nothing."""
    (tmp_path / "a").write_bytes(_GOOD)
    (result,) = import_units(book, str(tmp_path / "a")).units
    assert (result.unit.id, result.unit.label, result.entries) == (UNIT, "LB-0007", 1)
    assert stream_of(exported(book, tmp_path / "b")) == _STREAM


# The ZIP file


def _info(**changes: Any) -> zipfile.ZipInfo:  # noqa: ANN401 - any attribute
    info = plain_member(changes.pop("name", PART))
    for name, value in changes.items():
        setattr(info, name, value)
    return info


def _with_part(info: zipfile.ZipInfo, stream: bytes = _STREAM) -> bytes:
    return zipped([(info, stream), _manifest_member(stream)])


def _manifest_member(stream: bytes = _STREAM, **changes: object) -> tuple[zipfile.ZipInfo, bytes]:
    return plain_member(MANIFEST, _STORED), manifest(stream, **changes)


def _named(name: str) -> bytes:
    return _with_part(_info(name=name))


def _beside(name: str) -> bytes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the writer warns of a name that is there twice
        return zipped([(_info(), _STREAM), (_info(name=name), b"x"), _manifest_member()])


def _patched(content: bytes, local: tuple[int, bytes], central: tuple[int, bytes]) -> bytes:
    """The first member's two headers changed at an offset of each: APPNOTE.TXT 4.3.7 and 4.3.12."""
    changed = bytearray(content)
    for start, (offset, value) in ((0, local), (content.index(b"PK\x01\x02"), central)):
        changed[start + offset : start + offset + len(value)] = value
    return bytes(changed)


def _flagged(flags: int) -> bytes:
    value = struct.pack("<H", flags)
    return _patched(_GOOD, (6, value), (8, value))


def _nul_in_name() -> bytes:
    return _patched(_GOOD, (30 + 5, b"\0"), (46 + 5, b"\0"))


def _unseekable() -> bytes:
    import io

    class Pipe(io.RawIOBase):
        def __init__(self) -> None:
            self.all = b""

        def writable(self) -> bool:
            return True

        def write(self, piece: Any) -> int:  # noqa: ANN401 - whatever holds bytes
            self.all += bytes(piece)
            return len(bytes(piece))

    pipe = Pipe()
    with zipfile.ZipFile(pipe, "w") as file:
        file.writestr(_info(), _STREAM)
        file.writestr(*_manifest_member())
    return pipe.all


def _bytes_between() -> bytes:
    """A gap before the second member: the directory's places are put right, so the list itself is sound."""
    second = _GOOD.index(b"PK\x03\x04", 4)
    start = _GOOD.index(b"PK\x01\x02")
    gapped = bytearray(_GOOD[:second] + b"hidden" + _GOOD[second:])
    place = gapped.index(b"PK\x01\x02", gapped.index(b"PK\x01\x02") + 4) + 42
    gapped[place : place + 4] = struct.pack("<L", second + 6)
    gapped[-6:-2] = struct.pack("<L", start + 6)
    return bytes(gapped)


def _bytes_before_the_directory() -> bytes:
    start = _GOOD.index(b"PK\x01\x02")
    return _GOOD[:start] + b"hidden" + _GOOD[start:-6] + struct.pack("<L", start + 6) + _GOOD[-2:]


_STRUCTURE: dict[str, tuple[bytes, str]] = {
    "climbs out of the folder": (_named("../units-00001"), r'"\.\./units-00001" where units-00001 should be'),
    "climbs out with a second member": (_beside("../../x"), r'"\.\./\.\./x" where usbwatch-units.json should be'),
    "absolute": (_named("/etc/passwd"), 'holds "/etc/passwd"'),
    "a drive": (_named("C:\\units-00001"), r'holds "C:\\units-00001"'),
    "backslashes": (_named("..\\units-00001"), r'holds "\.\.\\units-00001"'),
    "a folder": (_beside("units/"), 'holds "units/"'),
    "a NUL in a name": (_nul_in_name(), "holds"),
    "a name that clears the screen": (_named("\x1b[2Junits"), r'holds "\\x1b\[2Junits"'),
    "another case": (_named("UNITS-00001"), "holds"),
    "not ASCII": (_named("units-0000\u0661"), "holds"),
    "a very long name": (_named("x" * 60_000), "holds"),
    "a member more": (_beside("units-00002"), 'holds "units-00002" where usbwatch-units.json should be'),
    "a member twice": (_beside(PART), "where usbwatch-units.json should be"),
    "two manifests": (
        zipped([(_info(), _STREAM), _manifest_member(), (_info(name="usbwatch-units.json "), b"{}")]),
        "leaves no room for",
    ),
    "a member less": (zipped([_manifest_member()]), 'holds "usbwatch-units.json" where units-00001 should be'),
    "manifest first": (zipped([_manifest_member(), (_info(), _STREAM)]), "holds"),
    "a symbolic link": (_with_part(_info(external_attr=0o120777 << 16)), "is no plain file"),
    "a device": (_with_part(_info(external_attr=0o060600 << 16)), "is no plain file"),
    "a folder by its attributes": (_with_part(_info(external_attr=0o40700 << 16 | 0x10)), "is no plain file"),
    "of another system": (_with_part(_info(create_system=0)), "is no plain file"),
    "encrypted": (_flagged(0x1), "is encrypted"),
    "strongly encrypted": (_flagged(0x41), "is encrypted"),
    "patch data": (_flagged(0x20), "has flags"),
    "sizes behind the data": (_unseekable(), "has flags"),
    "bzip2": (_with_part(_info(compress_type=zipfile.ZIP_BZIP2)), "compressed in a way that is not used here"),
    "LZMA": (_with_part(_info(compress_type=zipfile.ZIP_LZMA)), "has flags|compressed in a way"),
    "a method that nobody knows": (_patched(_GOOD, (8, b"\x63\0"), (10, b"\x63\0")), "compressed in a way"),
    "a member's comment": (_with_part(_info(comment=b"hello")), "has fields"),
    "an extra field": (_with_part(_info(extra=b"\xfe\xca\x02\x00hi")), "has fields"),
    "another date": (_with_part(_info(date_time=(2026, 3, 2, 0, 0, 0))), "has two headers that differ"),
    "a comment": (zipped([(_info(), _STREAM), _manifest_member()], b"hello"), "its end is not that of one"),
    "something before": (b"#!/bin/sh\n" + _GOOD, "lies elsewhere"),
    "something behind": (_GOOD + b"\n", "its end is not that of one"),
    "something between": (_bytes_between(), "lies elsewhere"),
    "something before the directory": (_bytes_before_the_directory(), "holds something beside its members"),
    "two archives in one file": (_GOOD + _GOOD, "lies elsewhere"),
    "another name in the local header": (_patched(_GOOD, (30, b"evil"), (46, b"unit")), "two headers that differ"),
    "another size in the local header": (_patched(_GOOD, (22, b"\x01"), (46, b"u")), "two headers that differ"),
    "another CRC": (_patched(_GOOD, (14, b"\0\0\0\0"), (16, b"\0\0\0\0")), "does not unpack to what it was"),
    "another size": (_patched(_GOOD, (22, b"\x01\0"), (24, b"\x01\0")), "has 1 bytes, not"),
    "another volume": (_patched(_GOOD, (0, b"P"), (34, b"\x01\0")), "has fields|cannot be read"),
    "a text file by its attributes": (_patched(_GOOD, (0, b"P"), (36, b"\x01\0")), "has fields"),
    "a version that nobody knows": (_patched(_GOOD, (4, b"\xff\0"), (6, b"\xff\0")), "list of members cannot be read"),
}


@pytest.mark.parametrize("case", _STRUCTURE)
def test_a_zip_file_that_is_not_as_an_export_writes_it_is_refused(case: str, here: Book, tmp_path: Path) -> None:
    content, why = _STRUCTURE[case]
    assert re.search(why, _refusal(here, tmp_path / "a", content))


_OTHER_FILES = {
    "empty": (b"", "is empty"),
    "text": (b"dear colleague", "is no ZIP file, and an archive"),
    "gzip": (b"\x1f\x8b\x08" + bytes(30), "is compressed \\(gzip\\)"),
    "bzip2": (b"BZh91AY&SY" + bytes(30), "is compressed \\(bzip2\\)"),
    "xz": (b"\xfd7zXZ\0" + bytes(30), "is compressed \\(xz\\)"),
    "zstd": (b"\x28\xb5\x2f\xfd" + bytes(30), "is compressed \\(zstd\\)"),
    "7z": (b"7z\xbc\xaf\x27\x1c" + bytes(30), "is a 7z file"),
    "tar": (bytes(257) + b"ustar\x0000" + bytes(248), "is a tar file"),
    "another ZIP file": (zipped([(_info(name="photo.jpg"), b"x")]), 'none with units; it begins with "photo.jpg"'),
    "a ZIP file with nothing": (zipped([]), "none with units"),
    "a ZIP file with a manifest in a folder": (zipped([(_info(name=f"x/{MANIFEST}"), b"{}")]), "none with units"),
}


@pytest.mark.parametrize("case", _OTHER_FILES)
def test_another_file_is_told_to_be_what_it_seems(case: str, here: Book, tmp_path: Path) -> None:
    content, why = _OTHER_FILES[case]
    assert re.search(why, _refusal(here, tmp_path / "a", content))


def test_a_casebook_a_capture_and_a_folder_are_no_archives(here: Book, tmp_path: Path) -> None:
    fill(open_once := open_book(str(tmp_path / "book.sqlite")))
    open_once.close()
    capture = Path(__file__).parents[2] / "captures" / "larch-13-top-case-lost.json"
    assert "perhaps a casebook itself" in _refusal(here, tmp_path / "book.sqlite")
    assert "perhaps a capture" in _refusal(here, capture)
    assert "is no regular file" in _refusal(here, tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        assert "is no regular file" in _refusal(here, tmp_path / "pipe")
    assert "cannot be read" in _refusal(here, tmp_path / "none")
    with pytest.raises(BadArchive, match="has a name that no file can have"):
        import_units(here, str(tmp_path / "\0"))


# Bombs


def _deflated(size: int) -> tuple[bytes, int]:
    """A DEFLATE stream of ``size`` zeros, and their CRC-32."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed, crc = [], 0
    for _ in range(size // _MIB):
        packed.append(packer.compress(bytes(_MIB)))
        crc = zlib.crc32(bytes(_MIB), crc)
    return b"".join([*packed, packer.flush()]), crc


def _raw_member(name: bytes, packed: bytes, crc: int, size: int, place: int) -> tuple[bytes, bytes]:
    """Local header with data, and directory entry, of a member whose figures say whatever they say."""
    common = struct.pack("<HHHHHLLLHH", 20, 0, 8, 0, 33, crc, len(packed), size, len(name), 0)
    local = b"PK\x03\x04" + common + name + packed
    central = (
        b"PK\x01\x02" + struct.pack("<H", 0x314) + common + struct.pack("<HHHLL", 0, 0, 0, 0o600 << 16, place) + name
    )
    return local, central


def _raw_zip(members: list[tuple[bytes, bytes]], locals_: bytes | None = None) -> bytes:
    body = b"".join(local for local, _ in members) if locals_ is None else locals_
    directory = b"".join(central for _, central in members)
    count = min(len(members), 0xFFFF)
    return body + directory + struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, count, count, len(directory), len(body), 0)


def _around(part: tuple[bytes, bytes], body: bytes) -> bytes:
    stored = struct.pack("<HHHHHLLLHH", 20, 0, 0, 0, 33, zlib.crc32(body), len(body), len(body), len(MANIFEST), 0)
    name = MANIFEST.encode()
    local = b"PK\x03\x04" + stored + name + body
    central = b"PK\x01\x02" + struct.pack("<H", 0x314) + stored
    central += struct.pack("<HHHLL", 0, 0, 0, 0o600 << 16, len(part[0])) + name
    return _raw_zip([part, (local, central)])


def test_the_raw_writer_of_these_tests_writes_what_is_taken_in(here: Book, tmp_path: Path) -> None:
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = packer.compress(_STREAM) + packer.flush()
    part = _raw_member(PART.encode(), packed, zlib.crc32(_STREAM), len(_STREAM), 0)
    (tmp_path / "a").write_bytes(_around(part, manifest(_STREAM)))
    assert import_units(here, str(tmp_path / "a")).entries == 1


def test_a_bomb_that_says_how_large_it_is_is_refused_unread(here: Book, tmp_path: Path) -> None:
    packed, crc = _deflated(256 * _MIB)
    part = _raw_member(PART.encode(), packed, crc, 256 * _MIB, 0)
    assert len(packed) < _MIB
    said = _refusal(here, tmp_path / "a", _around(part, manifest(b"", size=256 * _MIB)))
    assert 'holds "usbwatch-units.json" where units-00002 should be' in said
    said = _refusal(here, tmp_path / "a", _around(part, manifest(b"", size=16 * _MIB)))
    assert f"has {256 * _MIB} bytes, not {16 * _MIB}" in said


def test_a_bomb_of_the_right_size_is_refused_unread(here: Book, tmp_path: Path) -> None:
    packed, crc = _deflated(16 * _MIB)
    part = _raw_member(PART.encode(), packed, crc, 16 * _MIB, 0)
    said = _refusal(here, tmp_path / "a", _around(part, manifest(b"", size=16 * _MIB)))
    assert "unpacks to more than 100 times its size" in said


def test_a_bomb_with_everything_right_but_how_well_it_packs_is_refused(here: Book, tmp_path: Path) -> None:
    zeros = bytes(8 * _MIB)
    fact = {"kind": "file", "file": digest_of(zeros), "name": "zeros.bin", "size": len(zeros)}
    head = {"document": digest_of(zeros), "kind": "file", "size": len(zeros)}
    stream = unit_block([OPENED, entry(2, fact)], [(head, zeros)])
    assert "100 times" in _refusal(here, tmp_path / "a", whole(stream, entries=2, documents=1))


def test_a_bomb_that_says_it_is_small_is_refused_as_soon_as_it_is_not(here: Book, tmp_path: Path) -> None:
    """The CRC fits what was declared, so a reader that stops there would notice nothing."""
    packed, _ = _deflated(256 * _MIB)
    part = _raw_member(PART.encode(), packed, zlib.crc32(bytes(_MIB)), _MIB, 0)
    said = _refusal(here, tmp_path / "a", _around(part, manifest(bytes(_MIB))))
    assert "holds something else where a unit should begin" in said or "longer than any" in said
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = packer.compress(_STREAM) + packer.compress(bytes(64 * _MIB)) + packer.flush()
    part = _raw_member(PART.encode(), packed, zlib.crc32(_STREAM), len(_STREAM), 0)
    said = _refusal(here, tmp_path / "a", _around(part, manifest(_STREAM)))
    assert "does not unpack to what it was" in said


def test_packed_data_that_goes_on_behind_its_end_is_refused(here: Book, tmp_path: Path) -> None:
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = packer.compress(_STREAM) + packer.flush()
    for spoiled in (packed + b"hidden", packed[:-3], b"\x07" + packed):
        part = _raw_member(PART.encode(), spoiled, zlib.crc32(_STREAM), len(_STREAM), 0)
        assert "cannot be unpacked" in _refusal(here, tmp_path / "a", _around(part, manifest(_STREAM)))


def test_members_that_share_their_data_are_refused(here: Book, tmp_path: Path) -> None:
    """D. Fifield, A better zip bomb (WOOT 2019), from memory: full overlap, and local headers quoted one by another."""
    packed, crc = _deflated(16 * _MIB)
    size = 16 * _MIB
    names = [f"units-{number:05}".encode() for number in range(1, 4)]
    body = manifest(b"", size=3 * size)
    last = _raw_member(names[2], packed, crc, size, 0)[0]
    quoting = [last]
    for name in reversed(names[:2]):
        # A stored block (RFC 1951, 3.2.4) that is not the last one quotes the next member's header; its data follow.
        quoted = quoting[0][: 30 + len(name)]
        data = struct.pack("<BHH", 0, len(quoted), 0xFFFF - len(quoted)) + quoting[0]
        quoting.insert(0, _raw_member(name, data, crc, size, 0)[0])
    places = [len(quoting[0]) - len(one) for one in quoting]
    central = [
        _raw_member(name, one[30 + len(name) :], crc, size, place)[1]
        for name, one, place in zip(names, quoting, places, strict=True)
    ]
    end = _around((quoting[0], b""), body)
    member = end[len(quoting[0]) :]
    for directory in (central, [_raw_member(name, packed, crc, size, places[2])[1] for name in names]):
        start = member.index(b"PK\x01\x02")
        listed = b"".join(directory) + member[start:-22]
        content = quoting[0] + member[:start] + listed
        content += struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 4, 4, len(listed), len(quoting[0]) + start, 0)
        (tmp_path / "a").write_bytes(content)
        with zipfile.ZipFile(tmp_path / "a") as file:
            assert file.namelist() == [*map(bytes.decode, names), MANIFEST], "a plain reader lists them all"
        said = _refusal(here, tmp_path / "a")
        assert "100 times" in said or "lies elsewhere" in said


def test_members_that_overlap_without_packing_well_are_refused(here: Book, tmp_path: Path) -> None:
    zeros = bytes(16 * _MIB)
    info, crc = plain_member(PART, _STORED), zlib.crc32(zeros)
    content = zipped([(info, zeros), _manifest_member(b"", size=2 * len(zeros))])
    start = content.index(b"PK\x01\x02", len(zeros))
    first = content[start : start + 46 + len(PART)]
    assert struct.unpack("<L", first[16:20]) == (crc,)
    second = first[:46] + b"units-00002"
    listed = first + second + content[start + len(first) : -22]
    end = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 3, 3, len(listed), start, 0)
    said = _refusal(here, tmp_path / "a", content[:start] + listed + end)
    assert "units-00002 lies elsewhere than it should, perhaps over another one" in said


def test_a_million_tiny_members_are_refused_unread(here: Book, tmp_path: Path) -> None:
    _, central = _raw_member(b"x", b"", 0, 0, 0)
    directory = central * 1_000_000
    content = directory + struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 0xFFFF, 0xFFFF, len(directory), 0, 0)
    assert "has more members than any archive of units" in _refusal(here, tmp_path / "a", content)


def test_a_directory_that_is_said_to_be_elsewhere_is_refused(here: Book, tmp_path: Path) -> None:
    for size, place in ((0xFFFFFFFF, 0), (0, 0), (2**31, 2**31), (len(_GOOD), 0), (100, 0xFFFFFFFF)):
        _refusal(here, tmp_path / "a", _GOOD[:-10] + struct.pack("<LL", size, place) + b"\0\0")
    wide = struct.pack("<4sQ2H2L4Q", b"PK\x06\x06", 44, 45, 45, 0, 0, 2, 2, 2**63, 2**63)
    locator = struct.pack("<4sLQL", b"PK\x06\x07", 0, 0, 1)
    _refusal(here, tmp_path / "a", _GOOD[:-22] + wide + locator + _GOOD[-22:])
    _refusal(here, tmp_path / "a", locator + _GOOD[-22:])


# The manifest


_MANIFESTS: dict[str, tuple[bytes, str]] = {
    "newer": (
        manifest(_STREAM, schema=2, something="new"),
        "written in schema 2, and this usbwatch reads schemas up to 1",
    ),
    "no schema": (manifest(_STREAM, schema=None), 'without a "schema" number'),
    "schema true": (manifest(_STREAM, schema=True), 'without a "schema" number'),
    "schema 0": (manifest(_STREAM, schema=0), 'without a "schema" number'),
    "another format": (manifest(_STREAM, format="usbwatch-capture"), '"format" is not "usbwatch-units"'),
    "no object": (b"[]", '"format" is not'),
    "no JSON": (b"{", "no JSON document"),
    "not UTF-8": (b'{"format":"\xff"}', "no JSON document"),
    "nested": (b"[" * 60_000, "no JSON document"),
    "too large": (b" " * 70_000, "larger than any"),
    "a field more": (manifest(_STREAM, extra=1), "shape of one"),
    "a field less": (manifest(_STREAM, made_by=None), "shape of one"),
    "a field of another type": (manifest(_STREAM, units="1"), "shape of one"),
    "a fraction": (manifest(_STREAM, units=1.5), "shape of one"),
    "a negative size": (manifest(_STREAM, size=-1), "shape of one"),
    "a size of an exabyte": (manifest(_STREAM, size=2**50), "shape of one"),
    "not canonical": (manifest(_STREAM) + b"\n", "shape of one"),
    "no proper digest": (manifest(_STREAM, digest="sha256:x"), "shape of one"),
    "another digest": (manifest(_STREAM, digest=digest_of(b"")), "not what its manifest says"),
    "more units": (manifest(_STREAM, units=2), "not what its manifest says"),
    "fewer entries": (manifest(_STREAM, entries=0), "not what its manifest says"),
    "more documents": (manifest(_STREAM, documents=1), "not what its manifest says"),
    "a longer stream": (manifest(_STREAM, size=len(_STREAM) + 1), "bytes, not"),
}


@pytest.mark.parametrize("case", _MANIFESTS)
def test_a_manifest_that_does_not_fit_is_refused(case: str, here: Book, tmp_path: Path) -> None:
    body, why = _MANIFESTS[case]
    content = zipped([(_info(), _STREAM), (plain_member(MANIFEST, _STORED), body)])
    assert why in _refusal(here, tmp_path / "a", content)


def test_a_newer_archive_is_told_to_be_newer_whatever_else_is_new_in_it(here: Book, tmp_path: Path) -> None:
    newer = plain_member(MANIFEST, _DEFLATED), manifest(_STREAM, schema=7)
    said = _refusal(here, tmp_path / "a", zipped([(_info(name="something/new"), b"x"), newer]))
    assert "use a newer usbwatch" in said


# The stream


_CAPTURE = load_saved(str(Path(__file__).parents[2] / "captures" / "larch-13-top-case-lost.json")).content


def _about(content: bytes, kind: str = "file", **changes: object) -> dict[str, Any]:
    return {"document": digest_of(content), "kind": kind, "size": len(content), **changes}


_PHOTO = b"photo"


def _attached(number: int, content: bytes = _PHOTO) -> bytes:
    return entry(number, {"kind": "file", "file": digest_of(content), "name": "a.jpg", "size": len(content)})


def _captured(number: int, content: bytes = _CAPTURE) -> bytes:
    return entry(number, {"kind": "capture", "capture": digest_of(content)})


def _amended(number: int, about: int, **instead: object) -> bytes:
    return entry(number, {"kind": "amend", "entry": f"{about:032x}", "reason": "x", **instead})


def _with(*entries: bytes) -> bytes:
    """A unit that was opened, with more entries."""
    return unit_block([OPENED, *entries])


def _with_photo(said: dict[str, Any] | None = None, content: bytes = _PHOTO) -> bytes:
    """A unit with one attached file: what its line says, and what follows."""
    return unit_block([OPENED, _attached(2)], [(said or _about(_PHOTO), content)])


def _with_capture(content: bytes = _CAPTURE, kind: str = "capture", **said: object) -> bytes:
    return unit_block([OPENED, _captured(2, content)], [(_about(content, kind, **said), content)])


def _labelled(label: str, **other: object) -> bytes:
    return unit_block([entry(1, {"kind": "open", "label": label, **other})])


_OTHER_UNIT = "b" * 32
_LATER_UNIT = unit_block([entry(1, {"kind": "open", "label": "A"}, unit=_OTHER_UNIT)], unit=_OTHER_UNIT)
_NOTE = {"kind": "note", "text": "x"}
_NESTED = b"[" * 90_000
_BLOCKS: dict[str, tuple[bytes, str]] = {
    "nothing but text": (b"dear colleague\n", "where a unit should begin"),
    "no line": (b"x" * 10_000, "longer than any"),
    "a head that is no object": (b"[]\n", "where a unit should begin"),
    "a head with a field more": (unit_block(label="LB-0007"), "where a unit should begin"),
    "a head that is not canonical": (_STREAM.replace(b":1,", b": 1,", 1), "where a unit should begin"),
    "a head with no proper id": (unit_block(unit="../x"), "where a unit should begin"),
    "a count that is true": (unit_block(entries=True), "where a unit should begin"),
    "a negative count": (unit_block([], entries=-1), "without the one entry that opened it"),
    "a count beyond all": (unit_block(entries=10**15), "ends in the middle"),
    "more entries than said": (unit_block([OPENED, entry(2, _NOTE)], entries=1), "where a unit should begin"),
    "fewer entries than said": (unit_block(entries=2), "ends in the middle"),
    "a unit twice": (_STREAM + _STREAM, "twice, or its units out of order"),
    "units out of order": (_LATER_UNIT + _STREAM, "out of order"),
    "no entries": (unit_block([]), "without the one entry that opened it"),
    "never opened": (unit_block([entry(1, _NOTE)]), "without the one entry that opened it"),
    "opened twice": (_with(entry(2, {"kind": "open", "label": "A"})), "without the one entry that opened it"),
    "an entry of another unit": (_with(entry(2, _NOTE, unit=_OTHER_UNIT)), "entry 2 of unit a+ is of another unit"),
    "an entry twice": (_with(entry(2, _NOTE), entry(2, _NOTE)), "holds an entry of unit a+ twice"),
    "an entry that is not canonical": (_with(entry(2, _NOTE) + b" "), "is not written as such an entry is"),
    "an entry with a field that nobody knows": (_with(entry(2, _NOTE, more=1)), "not known here"),
    "an entry of a kind that nobody knows": (_with(entry(2, {"kind": "x"})), "of no kind that is known"),
    "an entry on 30 February": (_with(entry(2, _NOTE, at="2026-02-30T09:00:00Z")), "no calendar has"),
    "an entry that is too long": (_with(entry(2, {"kind": "note", "text": "x" * 300_000})), "longer than any"),
    "an entry that is nested": (_with(_NESTED), "is no JSON document"),
    "an entry with more before it than there are": (_with(entry(2, _NOTE, order=2)), "than there are"),
    "an amendment of nothing": (_with(_amended(2, 9)), "amends what is no entry of the unit"),
    "an amendment of an amendment": (_with(entry(2, _NOTE), _amended(3, 2), _amended(4, 3)), "amends what is no entry"),
    "an amendment of another kind": (_with(_amended(2, 1, instead=_NOTE)), "cannot become one of kind note"),
    "the opening withdrawn": (_with(_amended(2, 1)), "cannot be withdrawn"),
    "a label that clears the screen": (_labelled("a\x1b[2Jb"), "can be printed"),
    "a label like an option": (_labelled("--all"), "begins with a hyphen"),
    "no label": (_labelled(" "), "can be printed"),
    "a label amended to clear the screen": (
        _with(_amended(2, 1, instead={"kind": "open", "label": "a\x1b[2Jb"})),
        "can be printed",
    ),
    "a model with a NUL": (_labelled("A", model="a\0b"), "id of a profile"),
    "a document less": (_with(_attached(2)), "ends in the middle"),
    "a document more": (unit_block([OPENED], [(_about(_PHOTO), _PHOTO)]), "where a unit should begin"),
    "another document": (_with_photo(_about(b"other"), b"other"), "where document .* should begin"),
    "documents out of order": (
        unit_block([OPENED, _attached(2, b"1"), _attached(3, b"2")], [(_about(b"2"), b"2"), (_about(b"1"), b"1")]),
        "where document .* should begin",
    ),
    "a document twice": (unit_block([OPENED, _attached(2)], [(_about(_PHOTO), _PHOTO)] * 2), "a unit should begin"),
    "a document with another digest": (_with_photo(content=b"foto!"), "does not have that digest"),
    "a document that is longer": (_with_photo(content=b"photos"), "does not have the size"),
    "a document that is shorter": (_with_photo(_about(_PHOTO, size=50)), "does not have the size"),
    "a document larger than any": (_with_photo(_about(_PHOTO, size=65 * _MIB)), "where document .* should begin"),
    "a document of negative size": (_with_photo(_about(_PHOTO, size=-1)), "where document .* should begin"),
    "a document of half a byte": (_with_photo(_about(_PHOTO, size=5.5)), "where document .* should begin"),
    "a document of another kind": (_with_photo(_about(_PHOTO, "sites")), "where document .* should begin"),
    "a document with a name": (_with_photo(_about(_PHOTO, name="../x")), "where document .* should begin"),
    "a family with a NUL": (_with_photo(_about(_PHOTO, family="\0")), "what cannot be said"),
    "a family that is a list": (_with_photo(_about(_PHOTO, family=["x"])), "what cannot be said"),
    "a very long family": (_with_photo(_about(_PHOTO, family="x" * 201)), "what cannot be said"),
    "an empty family": (_with_photo(_about(_PHOTO, family="")), "where document .* should begin"),
    "a capture with a family": (_with_capture(family="x"), "what cannot be said"),
    "a capture called a file": (_with_capture(kind="file"), "where document .* should begin"),
    "a capture that is none": (_with_capture(b"{}"), "holds a capture"),
    "a capture that is nothing": (_with_capture(b""), "holds a capture"),
    "a capture that is nested": (_with_capture(_NESTED), "holds a capture"),
    "a capture with a space": (_with_capture(_CAPTURE + b" "), "holds a capture"),
    "a digest that is none": (_with(entry(2, {"kind": "capture", "capture": "../../x"})), "without a proper digest"),
    "a digest in capitals": (
        _with(entry(2, {"kind": "capture", "capture": "sha256:" + "A" * 64})),
        "without a proper digest",
    ),
}


@pytest.mark.parametrize("case", _BLOCKS)
def test_a_stream_that_is_not_as_it_should_be_is_refused(case: str, here: Book, tmp_path: Path) -> None:
    """Its manifest fits each: digest and size are those of the spoiled stream."""
    stream, why = _BLOCKS[case]
    said = _refusal(here, tmp_path / "a", zipped([(_info(compress_type=_STORED), stream), _manifest_member(stream)]))
    assert re.search(why, said), said


def test_what_is_refused_on_a_file_is_refused_on_a_server(book: Book, tmp_path: Path) -> None:
    fill(book)
    for content, _ in (*_STRUCTURE.values(),):
        _refusal(book, tmp_path / "a", content)
    for stream, _ in _BLOCKS.values():
        _refusal(book, tmp_path / "a", zipped([(_info(compress_type=_STORED), stream), _manifest_member(stream)]))


# The book


def test_an_entry_that_the_book_has_otherwise_or_elsewhere_is_refused(book: Book, tmp_path: Path) -> None:
    (tmp_path / "good").write_bytes(whole(unit_block([OPENED, entry(2, _NOTE)]), entries=2))
    import_units(book, str(tmp_path / "good"))
    changed = unit_block([OPENED, entry(2, {"kind": "note", "text": "changed"})])
    said = _refusal(book, tmp_path / "a", whole(changed, entries=2))
    assert "holds entry 00000000000000000000000000000002" in said
    assert "otherwise than" in said
    own = {"unit": _OTHER_UNIT}
    elsewhere = unit_block([entry(9, {"kind": "open", "label": "B"}, order=0, **own), entry(2, _NOTE, **own)], **own)
    said = _refusal(book, tmp_path / "a", whole(elsewhere, entries=2))
    assert "which another unit has, too" in said
    again = unit_block([entry(8, {"kind": "open", "label": "B"}, order=0)])
    assert "opened by another entry" in _refusal(book, tmp_path / "a", whole(again))


def test_an_entry_that_two_units_of_an_archive_have_undoes_all_of_it(book: Book, tmp_path: Path) -> None:
    """Only found while it is written: what was written before it is taken back."""
    own = {"unit": _OTHER_UNIT}
    second = unit_block([entry(9, {"kind": "open", "label": "B"}, order=0, **own), entry(2, _NOTE, **own)], **own)
    stream = unit_block([OPENED, entry(2, _NOTE)]) + second
    said = _refusal(book, tmp_path / "a", whole(stream, units=2, entries=4))
    assert "which another unit has, too" in said
    assert book.units() == ()


class _MeanwhileStore:
    """A store during whose writing something happens elsewhere."""

    def __init__(self, book: Book, meanwhile: Callable[[], None]) -> None:
        self._store = book.store
        self._meanwhile = meanwhile

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - the store's
        return getattr(self._store, name)

    @contextmanager
    def writing(self) -> Iterator[None]:
        self._meanwhile()
        with self._store.writing():
            yield


def _done(_: object) -> None:
    """Whatever came of it."""


def _overwrite(path: Path, content: bytes) -> None:
    path.write_bytes(content)


def _import_while(book: Book, path: Path, meanwhile: Callable[[], None]) -> Imported:
    first = book.store
    book.store = _MeanwhileStore(book, meanwhile)
    try:
        return import_units(book, str(path))
    finally:
        book.store = first


def test_a_file_that_is_replaced_while_it_is_imported_changes_nothing(book: Book, tmp_path: Path) -> None:
    """What was checked is what is taken in."""
    path, other = tmp_path / "a", tmp_path / "b"
    path.write_bytes(_GOOD)
    other.write_bytes(whole(unit_block([entry(1, {"kind": "open", "label": "evil"})])))
    assert _import_while(book, path, lambda: _done(other.replace(path))).units[0].label == "LB-0007"


def test_a_file_that_is_written_over_while_it_is_imported_is_refused(book: Book, tmp_path: Path) -> None:
    path = tmp_path / "a"
    stream = _with(*(entry(number, {"kind": "note", "text": "x" * 50_000}) for number in range(2, 9)))
    body = manifest(stream, entries=8)
    good = zipped([(_info(compress_type=_STORED), stream), (plain_member(MANIFEST, _STORED), body)])
    evil = bytearray(good)
    place = good.index(b"LB-0007")
    evil[place : place + 7] = b"LB-6666"
    evil_crc = zlib.crc32(bytes(evil[41 : 41 + len(stream)]))
    for spoiled in (bytes(evil), b"", good[: len(good) // 2], _crc_put_right(bytes(evil), evil_crc)):
        path.write_bytes(good)
        with pytest.raises(BadArchive):
            _import_while(book, path, partial(_overwrite, path, spoiled))
        assert everything_in(book) == []


def _crc_put_right(content: bytes, crc: int) -> bytes:
    return _patched(content, (14, struct.pack("<L", crc)), (16, struct.pack("<L", crc)))


def test_a_book_that_changed_while_an_archive_was_checked_is_looked_at_again(
    book: Book, address: str, tmp_path: Path
) -> None:
    path, other = tmp_path / "a", tmp_path / "b"
    path.write_bytes(whole(unit_block([OPENED, entry(2, _NOTE)]), entries=2))
    other.write_bytes(_GOOD)
    colleague = open_book(address)
    result = _import_while(book, path, lambda: _done(import_units(colleague, str(other))))
    colleague.close()
    assert (result.entries, result.units[0].new) == (1, False)


# Damage


def _small(book: Book, path: Path) -> bytes:
    book.open_unit(Opened(label="LB-0001"), _NOW, [Noted(text="one"), Noted(text="two")])
    return exported(book, path).read_bytes()


def test_an_archive_that_was_cut_off_anywhere_is_refused(here: Book, tmp_path: Path) -> None:
    content = exported(here, tmp_path / "whole").read_bytes()
    empty = open_book(":memory:")
    for length in range(0, len(content), 97):
        _refusal(empty, tmp_path / "cut", content[:length])
    _refusal(empty, tmp_path / "cut", content[:-1])
    empty.close()


def _same_or_refused(path: Path, content: bytes, stream: bytes) -> None:
    """A spoiled archive is refused, or what comes in is exactly what it held before."""
    path.write_bytes(content)
    empty = open_book(":memory:")
    try:
        import_units(empty, str(path))
    except BadArchive:
        assert everything_in(empty) == []
    else:
        assert stream_of(exported(empty, path)) == stream
    finally:
        empty.close()


def test_no_single_bit_that_flips_in_an_archives_structure_gets_other_content_in(tmp_path: Path) -> None:
    """Every bit of the headers, the manifest, the directory and the end."""
    with_unit = open_book(":memory:")
    content = _small(with_unit, tmp_path / "a")
    stream = stream_of(tmp_path / "a")
    with_unit.close()
    packed = struct.unpack("<L", content[18:22])[0]
    for place in [*range(41), *range(41 + packed, len(content))]:
        for bit in range(8):
            spoiled = bytearray(content)
            spoiled[place] ^= 1 << bit
            _same_or_refused(tmp_path / "b", bytes(spoiled), stream)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(1, 255)), min_size=1, max_size=4),
    st.sampled_from(["flip", "cut", "double", "swap"]),
)
@example([(0.5, 1)], "flip")
@pytest.mark.properties
def test_whatever_is_done_to_an_archive_it_is_refused_or_comes_in_as_it_was(
    tmp_path_factory: pytest.TempPathFactory, wounds: list[tuple[float, int]], how: str
) -> None:
    folder = tmp_path_factory.getbasetemp()
    content, stream = _filled(folder)
    spoiled = bytearray(content)
    for share, value in wounds:
        place = int(share * len(spoiled))
        if how == "flip":
            spoiled[place] ^= value
        elif how == "cut":
            del spoiled[place : place + value]
        elif how == "double":
            spoiled[place:place] = spoiled[place : place + value]
        else:
            spoiled[place : place + 2] = spoiled[place : place + 2][::-1]
    _same_or_refused(folder / "spoiled", bytes(spoiled), stream)


def _filled(folder: Path) -> tuple[bytes, bytes]:
    """An archive with captures and a file, made once, and its stream."""
    path = folder / "filled.zip"
    if not path.exists():
        made = open_book(":memory:")
        fill(made)
        exported(made, path)
        made.close()
    return path.read_bytes(), stream_of(path)


@settings(max_examples=200, deadline=None)
@given(
    st.floats(0, 1, exclude_max=True),
    st.one_of(st.binary(max_size=8), st.sampled_from([b"\n", b"}", b'"', b"{}", b"\x00", b"\xff", b"[[[[", b"null"])),
    st.integers(0, 8),
)
@pytest.mark.properties
def test_a_stream_with_anything_written_into_it_is_refused_or_comes_in_as_it_stands(
    tmp_path_factory: pytest.TempPathFactory, share: float, text: bytes, instead_of: int
) -> None:
    """With a manifest that fits, so that only what the stream says is left to judge."""
    folder = tmp_path_factory.getbasetemp()
    _, stream = _filled(folder)
    place = int(share * len(stream))
    spoiled = stream[:place] + text + stream[place + instead_of :]
    content = whole(spoiled, units=2, entries=10, documents=3)
    _same_or_refused(folder / "spoiled", content, spoiled)


def test_rfc8785_and_the_program_write_the_same_lines() -> None:
    """The reference library for what the tests write; ours for what is read back."""
    from usbwatch.casebook.exchange.archive import head

    values: dict[str, Json] = {
        "document": digest_of(b""),
        "kind": "file",
        "size": 0,
        "family": '\u20ac\U0001f600\u0001"\\é',
    }
    assert head(**values) == canonical(values) + b"\n"
