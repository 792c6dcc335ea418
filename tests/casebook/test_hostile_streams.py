"""Archives whose ZIP file is sound and whose content is not; archives that change, or are damaged, on the way."""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from support.archives import (
    GOOD,
    OPENED,
    STREAM,
    canonical,
    digest_of,
    entry,
    everything_in,
    exported,
    patched,
    refusal,
    stored,
    stream_of,
    taken_in,
    unit_block,
    whole,
)
from support.fresh_book import fresh_book
from support.make_casebook import fill

from usbwatch.capture.document import Json
from usbwatch.capture.saved import load_saved
from usbwatch.casebook import Book, When, open_book
from usbwatch.casebook.exchange import Imported
from usbwatch.errors import BadArchive
from usbwatch.model.history import Noted, Opened

_NOW = When(now="2026-03-02T09:20:00Z")
_MIB = 1024 * 1024
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


def _closed(**more: object) -> dict[str, Any]:
    return {"kind": "close", "ending": "repaired", **more}


_NESTED = b"[" * 90_000
_BLOCKS: dict[str, tuple[bytes, str]] = {
    "nothing but text": (b"dear colleague\n", "where a unit should begin"),
    "no line": (b"x" * 10_000, "longer than any"),
    "a head that is no object": (b"[]\n", "where a unit should begin"),
    "a head with a field more": (unit_block(label="LB-0007"), "where a unit should begin"),
    "a head that is not canonical": (STREAM.replace(b":1,", b": 1,", 1), "where a unit should begin"),
    "a head with no proper id": (unit_block(unit="../x"), "where a unit should begin"),
    "a count that is true": (unit_block(entries=True), "where a unit should begin"),
    "a negative count": (unit_block([], entries=-1), "without the one entry that opened it"),
    "a count beyond all": (unit_block(entries=10**15), "ends in the middle"),
    "more entries than said": (unit_block([OPENED, entry(2, _NOTE)], entries=1), "where a unit should begin"),
    "fewer entries than said": (unit_block(entries=2), "ends in the middle"),
    "a unit twice": (STREAM + STREAM, "twice, or its units out of order"),
    "units out of order": (_LATER_UNIT + STREAM, "out of order"),
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
    "a model that is a path": (_labelled("A", model="../../x"), "id of a profile"),
    "a model that is a file": (_labelled("A", model="x.toml"), "id of a profile"),
    "a model amended to be a file": (
        _with(_amended(2, 1, instead={"kind": "open", "label": "A", "model": "x.toml"})),
        "id of a profile",
    ),
    "closed as a model that is a path": (_with(entry(2, _closed(model="/x"))), "no id of a profile"),
    "closed as a very long model": (_with(entry(2, _closed(model="x" * 9000))), "no id of a profile"),
    "a very long cause": (
        _with(entry(2, _closed(cause_known=True, causes=[{"site": "x" * 201}]))),
        "more than 200 characters",
    ),
    "a cost beyond any": (_with(entry(2, {**_NOTE, "cost": 2**53 - 1})), "a sum that is not from 0"),
    "a negative cost": (_with(entry(2, {**_NOTE, "cost": -1})), "a sum that is not from 0"),
    "negative minutes": (_with(entry(2, {**_NOTE, "minutes": -1})), "minutes that are not from 0"),
    "a negative price": (_with(entry(2, _closed(brought=-1))), "a sum that is not from 0"),
    "a cost amended to be negative": (
        _with(entry(2, _NOTE), _amended(3, 2, instead={**_NOTE, "cost": -1})),
        "a sum that is not from 0",
    ),
    "an entry from the future": (_with(entry(2, _NOTE, at="2999-01-01T00:00:00Z")), "yet to come"),
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
    said = refusal(here, tmp_path / "a", stored(stream))
    assert re.search(why, said), said


def test_what_is_refused_on_a_file_is_refused_on_a_server(book: Book, tmp_path: Path) -> None:
    fill(book)
    for stream, why in _BLOCKS.values():
        assert re.search(why, refusal(book, tmp_path / "a", stored(stream)))


# The book


def test_an_entry_that_the_book_has_otherwise_or_elsewhere_is_refused(book: Book, tmp_path: Path) -> None:
    (tmp_path / "good").write_bytes(whole(unit_block([OPENED, entry(2, _NOTE)]), entries=2))
    taken_in(book, str(tmp_path / "good"))
    changed = unit_block([OPENED, entry(2, {"kind": "note", "text": "changed"})])
    said = refusal(book, tmp_path / "a", whole(changed, entries=2))
    assert "holds entry 00000000000000000000000000000002" in said
    assert "otherwise than" in said
    own = {"unit": _OTHER_UNIT}
    elsewhere = unit_block([entry(9, {"kind": "open", "label": "B"}, order=0, **own), entry(2, _NOTE, **own)], **own)
    said = refusal(book, tmp_path / "a", whole(elsewhere, entries=2))
    assert "which another unit has, too" in said
    again = unit_block([entry(8, {"kind": "open", "label": "B"}, order=0)])
    assert "opened by another entry" in refusal(book, tmp_path / "a", whole(again))


def test_an_entry_that_two_units_of_an_archive_have_undoes_all_of_it(book: Book, tmp_path: Path) -> None:
    """Only found while it is written: what was written before it is taken back."""
    own = {"unit": _OTHER_UNIT}
    second = unit_block([entry(9, {"kind": "open", "label": "B"}, order=0, **own), entry(2, _NOTE, **own)], **own)
    stream = unit_block([OPENED, entry(2, _NOTE)]) + second
    said = refusal(book, tmp_path / "a", whole(stream, units=2, entries=4))
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
        return taken_in(book, str(path))
    finally:
        book.store = first


def test_a_file_that_is_replaced_while_it_is_imported_changes_nothing(book: Book, tmp_path: Path) -> None:
    """What was checked is what is taken in."""
    path, other = tmp_path / "a", tmp_path / "b"
    path.write_bytes(GOOD)
    other.write_bytes(whole(unit_block([entry(1, {"kind": "open", "label": "evil"})])))
    assert _import_while(book, path, lambda: _done(other.replace(path))).units[0].label == "LB-0007"


def test_a_file_that_is_written_over_while_it_is_imported_is_refused(book: Book, tmp_path: Path) -> None:
    path = tmp_path / "a"
    stream = _with(*(entry(number, {"kind": "note", "text": "x" * 50_000}) for number in range(2, 9)))
    good = stored(stream, entries=8)
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
    return patched(content, (14, struct.pack("<L", crc)), (16, struct.pack("<L", crc)))


def test_a_book_that_changed_while_an_archive_was_checked_is_looked_at_again(
    book: Book, address: str, tmp_path: Path
) -> None:
    path, other = tmp_path / "a", tmp_path / "b"
    path.write_bytes(whole(unit_block([OPENED, entry(2, _NOTE)]), entries=2))
    other.write_bytes(GOOD)
    colleague = open_book(address)
    result = _import_while(book, path, lambda: _done(taken_in(colleague, str(other))))
    colleague.close()
    assert (result.entries, result.units[0].new) == (1, False)


# Damage


def _small(book: Book, path: Path) -> bytes:
    book.open_unit(Opened(label="LB-0001"), _NOW, [Noted(text="one"), Noted(text="two")])
    return exported(book, path).read_bytes()


def test_an_archive_that_was_cut_off_anywhere_is_refused(here: Book, tmp_path: Path) -> None:
    content = exported(here, tmp_path / "whole").read_bytes()
    empty = fresh_book()
    for length in range(0, len(content), 97):
        refusal(empty, tmp_path / "cut", content[:length])
    refusal(empty, tmp_path / "cut", content[:-1])
    empty.close()


def _same_or_refused(path: Path, content: bytes, stream: bytes) -> None:
    """A spoiled archive is refused, or what comes in is exactly what it held before."""
    path.write_bytes(content)
    empty = fresh_book()
    try:
        taken_in(empty, str(path))
    except BadArchive:
        assert everything_in(empty) == []
    else:
        assert stream_of(exported(empty, path)) == stream
    finally:
        empty.close()


@pytest.mark.slow
def test_no_single_bit_that_flips_in_an_archives_structure_gets_other_content_in(tmp_path: Path) -> None:
    """Every bit of the headers, the manifest, the directory and the end."""
    with_unit = fresh_book()
    content = _small(with_unit, tmp_path / "a")
    stream = stream_of(tmp_path / "a")
    with_unit.close()
    packed = struct.unpack("<L", content[18:22])[0]
    for place in [*range(41), *range(41 + packed, len(content))]:
        for bit in range(8):
            spoiled = bytearray(content)
            spoiled[place] ^= 1 << bit
            _same_or_refused(tmp_path / "b", bytes(spoiled), stream)


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
        made = fresh_book()
        fill(made)
        exported(made, path)
        made.close()
    return path.read_bytes(), stream_of(path)


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
