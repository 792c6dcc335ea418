"""The units of an archive, one after another, each checked to the last byte before anything believes it."""

from __future__ import annotations

import hashlib
import io
import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from usbwatch.capture.saved import saved_of_content
from usbwatch.casebook.book import paper_of
from usbwatch.casebook.entries import LONGEST_ENTRY, entry_of
from usbwatch.casebook.exchange.archive import COPY_AGAIN, LARGEST_HISTORY, LONGEST_HEAD, documents_of, head
from usbwatch.casebook.exchange.layout import Archive
from usbwatch.casebook.outcomes import sites_of
from usbwatch.casebook.packing import LARGEST_DOCUMENT, Paper, digest_text, raw_digest
from usbwatch.casebook.rules import refuse_opening, refuse_unlike
from usbwatch.casebook.serials import serials_of_document
from usbwatch.errors import BadCapture, BadEntry, Refused
from usbwatch.model.history import Amended, Entry, Opened

__all__ = ["UnitRead", "units_in"]

_ID = re.compile(r"[0-9a-f]{32}\Z")
_LONGEST_FAMILY = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitRead:
    """A unit of an archive."""

    id: str
    entries: tuple[Entry, ...]
    """All of them, numbered in the order in which they stand there."""
    documents: Iterator[Paper]
    """Those that the entries speak of, each once. They are read as one asks for them."""


def units_in(archive: Archive) -> Iterator[UnitRead]:
    """The units of an archive, in one pass. Raises ``BadArchive`` at the first thing that is not as it should be.

    What a unit's documents are not asked for is read and checked all the same.
    """
    stream, before, counts = _Stream(archive), "", [0, 0, 0]
    while not stream.at_end():
        unit = _unit(archive, stream, before)
        yield unit
        for _ in unit.documents:
            pass
        before = unit.id
        for place, count in enumerate((1, len(unit.entries), len(documents_of(unit.entries)))):
            counts[place] += count
    told = archive.manifest
    if counts != [told.units, told.entries, told.documents] or stream.digest != told.digest:
        archive.refuse("is damaged: what it holds is not what its manifest says", COPY_AGAIN)


class _Parts(io.RawIOBase):
    """The parts as one file to be read from start to end."""

    def __init__(self, archive: Archive) -> None:
        self._pieces = archive.pieces()
        self._waiting = b""
        self.sum = hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:  # noqa: ANN401 - whatever takes bytes
        while not self._waiting:
            piece = next(self._pieces, None)
            if piece is None:
                return 0
            self.sum.update(piece)
            self._waiting = piece
        size = min(len(buffer), len(self._waiting))
        buffer[:size], self._waiting = self._waiting[:size], self._waiting[size:]
        return size


class _Stream:
    """The stream of an archive: lines and contents of a known size."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._parts = _Parts(archive)
        self._file = io.BufferedReader(self._parts, 64 * 1024)

    def at_end(self) -> bool:
        return not self._file.peek(1)

    @property
    def digest(self) -> str:
        """Of what was read so far, to the end of a piece."""
        return digest_text(self._parts.sum.digest())

    def line(self, longest: int) -> bytes:
        line = self._file.readline(longest + 1)
        if not line.endswith(b"\n"):
            self._archive.refuse("ends in the middle, or has a line that is longer than any")
        return line

    def content(self, size: int) -> bytes:
        content = self._file.read(size)
        if len(content) < size or self._file.read(1) != b"\n":
            self._archive.refuse("holds a document that does not have the size that stands before it")
        return content


def _head(archive: Archive, line: bytes, about: str) -> dict[str, Any]:
    """The values of a line that says what follows it; it has to be written as such a line is."""
    import msgspec

    try:
        values: Any = msgspec.json.decode(line)
        proper = isinstance(values, dict) and head(**values) == line
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, ValueError, TypeError):
        proper = False
    if not proper:
        archive.refuse(f"holds something else where {about} should begin")
    found: dict[str, Any] = values
    return found


def _unit(archive: Archive, stream: _Stream, before: str) -> UnitRead:
    values = _head(archive, stream.line(LONGEST_HEAD), "a unit")
    id_, count = values.get("unit"), values.get("entries")
    if values.keys() != {"unit", "entries"} or not isinstance(id_, str) or not _ID.match(id_) or type(count) is not int:
        archive.refuse("holds something else where a unit should begin")
    if id_ <= before:
        archive.refuse(f"holds unit {id_} twice, or its units out of order")
    entries = _entries(archive, stream, id_, count)
    _check_history(archive, id_, entries)
    return UnitRead(id=id_, entries=entries, documents=_documents(archive, stream, entries))


def _entries(archive: Archive, stream: _Stream, id_: str, count: int) -> tuple[Entry, ...]:
    entries: list[Entry] = []
    room = LARGEST_HISTORY
    for number in range(1, count + 1):
        line = stream.line(LONGEST_ENTRY)
        room -= len(line)
        if room < 0:
            archive.refuse(f"holds more entries of unit {id_} than any unit has")
        try:
            entry = entry_of(line[:-1], number)
        except BadEntry as error:
            archive.refuse(f"entry {number} of unit {id_} {error.problem}")
        if entry.unit != id_:
            archive.refuse(f"entry {number} of unit {id_} is of another unit")
        entries.append(entry)
    return tuple(entries)


def _check_history(archive: Archive, id_: str, entries: Sequence[Entry]) -> None:
    """A unit's entries make a history: opened once, no entry twice, and amended only as a book lets one."""
    by_id = {entry.id: entry for entry in entries}
    if len(by_id) < len(entries):
        archive.refuse(f"holds an entry of unit {id_} twice")
    if sum(isinstance(entry.fact, Opened) for entry in entries) != 1:
        archive.refuse(f"holds unit {id_} without the one entry that opened it")
    for entry in entries:
        if entry.order >= len(entries):
            archive.refuse(f"entry {entry.number} of unit {id_} tells of more entries before it than there are")
        try:
            if isinstance(entry.fact, Opened):
                refuse_opening(entry.fact)
            elif isinstance(entry.fact, Amended):
                _refuse_amendment(entry.fact, by_id.get(entry.fact.entry))
        except Refused as refused:
            archive.refuse(f"entry {entry.number} of unit {id_} cannot be taken in: {refused.what}")
        try:
            for digest in documents_of([entry]):
                raw_digest(digest)
        except ValueError:
            archive.refuse(f"entry {entry.number} of unit {id_} speaks of a document without a proper digest")


def _refuse_amendment(fact: Amended, about: Entry | None) -> None:
    if about is None or isinstance(about.fact, Amended):
        raise Refused("it amends what is no entry of the unit", "")
    refuse_unlike(fact, about)


def _documents(archive: Archive, stream: _Stream, entries: Sequence[Entry]) -> Iterator[Paper]:
    for digest, kind in documents_of(entries).items():
        values = _head(archive, stream.line(LONGEST_HEAD), f"document {digest}")
        size, family = values.get("size"), values.get("family", "")
        wanted = {"document": digest, "kind": kind, "size": size, **({"family": family} if family != "" else {})}
        if values != wanted or type(size) is not int or not 0 <= size <= LARGEST_DOCUMENT:
            archive.refuse(f"holds something else where document {digest} should begin")
        if not _is_family(family) or (family and kind == "capture"):
            archive.refuse(f"says of document {digest} what cannot be said of one")
        paper = Paper(kind=kind, content=stream.content(size), family=family)
        if paper.raw_digest != raw_digest(digest):
            archive.refuse(f"is damaged: document {digest} does not have that digest", COPY_AGAIN)
        if kind == "sites":
            _refuse_no_sites(archive, paper, digest)
        yield _capture(archive, paper, digest) if kind == "capture" else paper


def _refuse_no_sites(archive: Archive, paper: Paper, digest: str) -> None:
    try:
        sites_of(paper.content)
    except ValueError:
        archive.refuse(f"holds a document {digest} that is no list of sites")


def _is_family(text: object) -> bool:
    return isinstance(text, str) and len(text) <= _LONGEST_FAMILY and "\0" not in text


def _capture(archive: Archive, paper: Paper, digest: str) -> Paper:
    try:
        saved = saved_of_content(paper.content, digest)
    except BadCapture as error:
        archive.refuse(f"holds a capture {digest} that {error.problem}", error.remedy)
    return replace(paper, family=paper_of(saved).family, serials=serials_of_document(json.loads(paper.content)))
