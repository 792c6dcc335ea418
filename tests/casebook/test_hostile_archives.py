"""Archives that were spoiled, or made to do harm: each is refused with one sentence, and the book is as it was."""

from __future__ import annotations

import os
import re
import struct
import warnings
import zipfile
import zlib
from pathlib import Path
from typing import Any

import pytest
from support.archives import (
    GOOD,
    MANIFEST,
    OPENED,
    PART,
    STREAM,
    UNIT,
    digest_of,
    entry,
    exported,
    manifest,
    manifest_member,
    part_member,
    patched,
    plain_member,
    refusal,
    stream_of,
    unit_block,
    whole,
    zipped,
)
from support.make_casebook import fill

from usbwatch.casebook import Book, open_book
from usbwatch.casebook.exchange import import_units
from usbwatch.errors import BadArchive

_MIB = 1024 * 1024
_DEFLATED, _STORED = zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED


def test_an_archive_made_by_hand_from_the_formats_page_is_taken_in(book: Book, tmp_path: Path) -> None:
    """Without this one, the refusals below would say nothing."""
    (tmp_path / "a").write_bytes(GOOD)
    (result,) = import_units(book, str(tmp_path / "a")).units
    assert (result.unit.id, result.unit.label, result.entries) == (UNIT, "LB-0007", 1)
    assert stream_of(exported(book, tmp_path / "b")) == STREAM


# The ZIP file


def _with_part(info: zipfile.ZipInfo, stream: bytes = STREAM) -> bytes:
    return zipped([(info, stream), manifest_member(stream)])


def _named(name: str) -> bytes:
    return _with_part(part_member(name=name))


def _beside(name: str) -> bytes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the writer warns of a name that is there twice
        return zipped([(part_member(), STREAM), (part_member(name=name), b"x"), manifest_member()])


def _flagged(flags: int) -> bytes:
    value = struct.pack("<H", flags)
    return patched(GOOD, (6, value), (8, value))


def _nul_in_name() -> bytes:
    return patched(GOOD, (30 + 5, b"\0"), (46 + 5, b"\0"))


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
        file.writestr(part_member(), STREAM)
        file.writestr(*manifest_member())
    return pipe.all


def _bytes_between() -> bytes:
    """A gap before the second member: the directory's places are put right, so the list itself is sound."""
    second = GOOD.index(b"PK\x03\x04", 4)
    start = GOOD.index(b"PK\x01\x02")
    gapped = bytearray(GOOD[:second] + b"hidden" + GOOD[second:])
    place = gapped.index(b"PK\x01\x02", gapped.index(b"PK\x01\x02") + 4) + 42
    gapped[place : place + 4] = struct.pack("<L", second + 6)
    gapped[-6:-2] = struct.pack("<L", start + 6)
    return bytes(gapped)


def _bytes_before_the_directory() -> bytes:
    start = GOOD.index(b"PK\x01\x02")
    return GOOD[:start] + b"hidden" + GOOD[start:-6] + struct.pack("<L", start + 6) + GOOD[-2:]


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
        zipped([(part_member(), STREAM), manifest_member(), (part_member(name="usbwatch-units.json "), b"{}")]),
        "leaves no room for",
    ),
    "a member less": (zipped([manifest_member()]), 'holds "usbwatch-units.json" where units-00001 should be'),
    "manifest first": (zipped([manifest_member(), (part_member(), STREAM)]), "holds"),
    "a symbolic link": (_with_part(part_member(external_attr=0o120777 << 16)), "is no plain file"),
    "a device": (_with_part(part_member(external_attr=0o060600 << 16)), "is no plain file"),
    "a folder by its attributes": (_with_part(part_member(external_attr=0o40700 << 16 | 0x10)), "is no plain file"),
    "of another system": (_with_part(part_member(create_system=0)), "is no plain file"),
    "encrypted": (_flagged(0x1), "is encrypted"),
    "strongly encrypted": (_flagged(0x41), "is encrypted"),
    "patch data": (_flagged(0x20), "has flags"),
    "sizes behind the data": (_unseekable(), "has flags"),
    "bzip2": (_with_part(part_member(compress_type=zipfile.ZIP_BZIP2)), "compressed in a way that is not used here"),
    "LZMA": (_with_part(part_member(compress_type=zipfile.ZIP_LZMA)), "has flags|compressed in a way"),
    "a method that nobody knows": (patched(GOOD, (8, b"\x63\0"), (10, b"\x63\0")), "compressed in a way"),
    "a member's comment": (_with_part(part_member(comment=b"hello")), "has fields"),
    "an extra field": (_with_part(part_member(extra=b"\xfe\xca\x02\x00hi")), "has fields"),
    "another date": (_with_part(part_member(date_time=(2026, 3, 2, 0, 0, 0))), "has two headers that differ"),
    "a comment": (zipped([(part_member(), STREAM), manifest_member()], b"hello"), "its end is not that of one"),
    "something before": (b"#!/bin/sh\n" + GOOD, "lies elsewhere"),
    "something behind": (GOOD + b"\n", "its end is not that of one"),
    "something between": (_bytes_between(), "lies elsewhere"),
    "something before the directory": (_bytes_before_the_directory(), "holds something beside its members"),
    "two archives in one file": (GOOD + GOOD, "lies elsewhere"),
    "another name in the local header": (patched(GOOD, (30, b"evil"), (46, b"unit")), "two headers that differ"),
    "another size in the local header": (patched(GOOD, (22, b"\x01"), (46, b"u")), "two headers that differ"),
    "another CRC": (patched(GOOD, (14, b"\0\0\0\0"), (16, b"\0\0\0\0")), "does not unpack to what it was"),
    "another size": (patched(GOOD, (22, b"\x01\0"), (24, b"\x01\0")), "has 1 bytes, not"),
    "another volume": (patched(GOOD, (0, b"P"), (34, b"\x01\0")), "has fields|cannot be read"),
    "a text file by its attributes": (patched(GOOD, (0, b"P"), (36, b"\x01\0")), "has fields"),
    "a version that nobody knows": (patched(GOOD, (4, b"\xff\0"), (6, b"\xff\0")), "list of members cannot be read"),
}


@pytest.mark.parametrize("case", _STRUCTURE)
def test_a_zip_file_that_is_not_as_an_export_writes_it_is_refused(case: str, here: Book, tmp_path: Path) -> None:
    content, why = _STRUCTURE[case]
    assert re.search(why, refusal(here, tmp_path / "a", content))


def test_what_is_refused_on_a_file_is_refused_on_a_server(book: Book, tmp_path: Path) -> None:
    fill(book)
    for content, why in _STRUCTURE.values():
        assert re.search(why, refusal(book, tmp_path / "a", content))


_OTHER_FILES = {
    "empty": (b"", "is empty"),
    "text": (b"dear colleague", "is no ZIP file, and an archive"),
    "gzip": (b"\x1f\x8b\x08" + bytes(30), "is compressed \\(gzip\\)"),
    "bzip2": (b"BZh91AY&SY" + bytes(30), "is compressed \\(bzip2\\)"),
    "xz": (b"\xfd7zXZ\0" + bytes(30), "is compressed \\(xz\\)"),
    "zstd": (b"\x28\xb5\x2f\xfd" + bytes(30), "is compressed \\(zstd\\)"),
    "7z": (b"7z\xbc\xaf\x27\x1c" + bytes(30), "is a 7z file"),
    "tar": (bytes(257) + b"ustar\x0000" + bytes(248), "is a tar file"),
    "another ZIP file": (
        zipped([(part_member(name="photo.jpg"), b"x")]),
        'none with units; it begins with "photo.jpg"',
    ),
    "a ZIP file with nothing": (zipped([]), "none with units"),
    "a ZIP file with a manifest in a folder": (zipped([(part_member(name=f"x/{MANIFEST}"), b"{}")]), "none with units"),
}


@pytest.mark.parametrize("case", _OTHER_FILES)
def test_another_file_is_told_to_be_what_it_seems(case: str, here: Book, tmp_path: Path) -> None:
    content, why = _OTHER_FILES[case]
    assert re.search(why, refusal(here, tmp_path / "a", content))


def test_a_casebook_a_capture_and_a_folder_are_no_archives(here: Book, tmp_path: Path) -> None:
    fill(open_once := open_book(str(tmp_path / "book.sqlite")))
    open_once.close()
    capture = Path(__file__).parents[2] / "captures" / "larch-13-top-case-lost.json"
    assert "perhaps a casebook itself" in refusal(here, tmp_path / "book.sqlite")
    assert "perhaps a capture" in refusal(here, capture)
    assert "is no regular file" in refusal(here, tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        assert "is no regular file" in refusal(here, tmp_path / "pipe")
    assert "cannot be read" in refusal(here, tmp_path / "none")
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
    packed = packer.compress(STREAM) + packer.flush()
    part = _raw_member(PART.encode(), packed, zlib.crc32(STREAM), len(STREAM), 0)
    (tmp_path / "a").write_bytes(_around(part, manifest(STREAM)))
    assert import_units(here, str(tmp_path / "a")).entries == 1


def test_a_bomb_that_says_how_large_it_is_is_refused_unread(here: Book, tmp_path: Path) -> None:
    packed, crc = _deflated(256 * _MIB)
    part = _raw_member(PART.encode(), packed, crc, 256 * _MIB, 0)
    assert len(packed) < _MIB
    said = refusal(here, tmp_path / "a", _around(part, manifest(b"", size=256 * _MIB)))
    assert 'holds "usbwatch-units.json" where units-00002 should be' in said
    said = refusal(here, tmp_path / "a", _around(part, manifest(b"", size=16 * _MIB)))
    assert f"has {256 * _MIB} bytes, not {16 * _MIB}" in said


def test_a_bomb_of_the_right_size_is_refused_unread(here: Book, tmp_path: Path) -> None:
    packed, crc = _deflated(16 * _MIB)
    part = _raw_member(PART.encode(), packed, crc, 16 * _MIB, 0)
    said = refusal(here, tmp_path / "a", _around(part, manifest(b"", size=16 * _MIB)))
    assert "unpacks to more than 200 times its size" in said


def test_a_bomb_with_everything_right_but_how_well_it_packs_is_refused(here: Book, tmp_path: Path) -> None:
    zeros = bytes(8 * _MIB)
    fact = {"kind": "file", "file": digest_of(zeros), "name": "zeros.bin", "size": len(zeros)}
    head = {"document": digest_of(zeros), "kind": "file", "size": len(zeros)}
    stream = unit_block([OPENED, entry(2, fact)], [(head, zeros)])
    assert "200 times" in refusal(here, tmp_path / "a", whole(stream, entries=2, documents=1))


def test_a_bomb_that_says_it_is_small_is_refused_as_soon_as_it_is_not(here: Book, tmp_path: Path) -> None:
    """The CRC fits what was declared, so a reader that stops there would notice nothing."""
    packed, _ = _deflated(256 * _MIB)
    part = _raw_member(PART.encode(), packed, zlib.crc32(bytes(_MIB)), _MIB, 0)
    said = refusal(here, tmp_path / "a", _around(part, manifest(bytes(_MIB))))
    assert "holds something else where a unit should begin" in said or "longer than any" in said
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = packer.compress(STREAM) + packer.compress(bytes(64 * _MIB)) + packer.flush()
    part = _raw_member(PART.encode(), packed, zlib.crc32(STREAM), len(STREAM), 0)
    said = refusal(here, tmp_path / "a", _around(part, manifest(STREAM)))
    assert "does not unpack to what it was" in said


def test_packed_data_that_goes_on_behind_its_end_is_refused(here: Book, tmp_path: Path) -> None:
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = packer.compress(STREAM) + packer.flush()
    for spoiled in (packed + b"hidden", packed[:-3], b"\x07" + packed):
        part = _raw_member(PART.encode(), spoiled, zlib.crc32(STREAM), len(STREAM), 0)
        assert "cannot be unpacked" in refusal(here, tmp_path / "a", _around(part, manifest(STREAM)))


def test_packed_data_that_ends_early_is_refused_even_where_its_digests_fit(here: Book, tmp_path: Path) -> None:
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = packer.compress(STREAM) + packer.flush()
    part = _raw_member(PART.encode(), packed, zlib.crc32(STREAM), len(STREAM) + 5, 0)
    body = manifest(STREAM, size=len(STREAM) + 5)
    assert "does not unpack to what it was" in refusal(here, tmp_path / "a", _around(part, body))


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
        said = refusal(here, tmp_path / "a")
        assert "200 times" in said or "lies elsewhere" in said


def test_members_that_overlap_without_packing_well_are_refused(here: Book, tmp_path: Path) -> None:
    zeros = bytes(16 * _MIB)
    info, crc = plain_member(PART, _STORED), zlib.crc32(zeros)
    content = zipped([(info, zeros), manifest_member(b"", size=2 * len(zeros))])
    start = content.index(b"PK\x01\x02", len(zeros))
    first = content[start : start + 46 + len(PART)]
    assert struct.unpack("<L", first[16:20]) == (crc,)
    second = first[:46] + b"units-00002"
    listed = first + second + content[start + len(first) : -22]
    end = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 3, 3, len(listed), start, 0)
    said = refusal(here, tmp_path / "a", content[:start] + listed + end)
    assert "units-00002 lies elsewhere than it should, perhaps over another one" in said


def test_a_million_tiny_members_are_refused_unread(here: Book, tmp_path: Path) -> None:
    _, central = _raw_member(b"x", b"", 0, 0, 0)
    directory = central * 1_000_000
    content = directory + struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 0xFFFF, 0xFFFF, len(directory), 0, 0)
    assert "has more members than any archive of units" in refusal(here, tmp_path / "a", content)


def test_a_directory_that_is_said_to_be_elsewhere_is_refused(here: Book, tmp_path: Path) -> None:
    for size, place in ((0xFFFFFFFF, 0), (0, 0), (2**31, 2**31), (len(GOOD), 0), (100, 0xFFFFFFFF)):
        refusal(here, tmp_path / "a", GOOD[:-10] + struct.pack("<LL", size, place) + b"\0\0")
    wide = struct.pack("<4sQ2H2L4Q", b"PK\x06\x06", 44, 45, 45, 0, 0, 2, 2, 2**63, 2**63)
    locator = struct.pack("<4sLQL", b"PK\x06\x07", 0, 0, 1)
    refusal(here, tmp_path / "a", GOOD[:-22] + wide + locator + GOOD[-22:])
    refusal(here, tmp_path / "a", locator + GOOD[-22:])


# The manifest


_MANIFESTS: dict[str, tuple[bytes, str]] = {
    "newer": (
        manifest(STREAM, schema=2, something="new"),
        "written in schema 2, and this usbwatch reads schemas up to 1",
    ),
    "no schema": (manifest(STREAM, schema=None), 'without a "schema" number'),
    "schema true": (manifest(STREAM, schema=True), 'without a "schema" number'),
    "schema 0": (manifest(STREAM, schema=0), 'without a "schema" number'),
    "another format": (manifest(STREAM, format="usbwatch-capture"), '"format" is not "usbwatch-units"'),
    "no object": (b"[]", '"format" is not'),
    "no JSON": (b"{", "no JSON document"),
    "not UTF-8": (b'{"format":"\xff"}', "no JSON document"),
    "nested": (b"[" * 60_000, "no JSON document"),
    "too large": (b" " * 70_000, "larger than any"),
    "a field more": (manifest(STREAM, extra=1), "shape of one"),
    "a field less": (manifest(STREAM, made_by=None), "shape of one"),
    "a field of another type": (manifest(STREAM, units="1"), "shape of one"),
    "a fraction": (manifest(STREAM, units=1.5), "shape of one"),
    "a negative size": (manifest(STREAM, size=-1), "shape of one"),
    "a size of an exabyte": (manifest(STREAM, size=2**50), "shape of one"),
    "not canonical": (manifest(STREAM) + b"\n", "shape of one"),
    "no proper digest": (manifest(STREAM, digest="sha256:x"), "shape of one"),
    "another digest": (manifest(STREAM, digest=digest_of(b"")), "not what its manifest says"),
    "more units": (manifest(STREAM, units=2), "not what its manifest says"),
    "fewer entries": (manifest(STREAM, entries=0), "not what its manifest says"),
    "more documents": (manifest(STREAM, documents=1), "not what its manifest says"),
    "a longer stream": (manifest(STREAM, size=len(STREAM) + 1), "bytes, not"),
}


@pytest.mark.parametrize("case", _MANIFESTS)
def test_a_manifest_that_does_not_fit_is_refused(case: str, here: Book, tmp_path: Path) -> None:
    body, why = _MANIFESTS[case]
    content = zipped([(part_member(), STREAM), (plain_member(MANIFEST, _STORED), body)])
    assert why in refusal(here, tmp_path / "a", content)


def test_a_newer_archive_is_told_to_be_newer_whatever_else_is_new_in_it(here: Book, tmp_path: Path) -> None:
    newer = plain_member(MANIFEST, _DEFLATED), manifest(STREAM, schema=7)
    said = refusal(here, tmp_path / "a", zipped([(part_member(name="something/new"), b"x"), newer]))
    assert "use a newer usbwatch" in said
