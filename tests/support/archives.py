"""Archives of units made by hand, whole or spoiled: by the standard library's ZIP writer and rfc8785, not by ours."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import pytest
import rfc8785

from usbwatch.casebook import Book
from usbwatch.casebook.exchange import export_units, import_units
from usbwatch.errors import BadArchive
from usbwatch.model.history import Unit

__all__ = [
    "GOOD",
    "MANIFEST",
    "OPENED",
    "PART",
    "STREAM",
    "UNIT",
    "canonical",
    "digest_of",
    "entry",
    "everything_in",
    "exported",
    "manifest",
    "manifest_member",
    "part_member",
    "patched",
    "plain_member",
    "refusal",
    "stored",
    "stream_of",
    "unit_block",
    "whole",
    "zipped",
]

MADE_AT = "2026-03-04T08:00:00Z"
MANIFEST = "usbwatch-units.json"
PART = "units-00001"
UNIT = "a" * 32

Member = tuple[zipfile.ZipInfo, bytes]


def exported(book: Book, target: Path, units: Iterable[Unit] | None = None) -> Path:
    """The archive of units of a book, of all of them by default."""
    with target.open("w+b") as file:
        export_units(book, units, file, MADE_AT)
    return target


def everything_in(book: Book) -> list[tuple[Any, ...]]:
    """All rows of a book."""
    rows: list[tuple[Any, ...]] = []
    for statement in (
        "SELECT * FROM document ORDER BY key",
        "SELECT * FROM unit ORDER BY key",
        "SELECT * FROM entry ORDER BY unit, number",
        "SELECT * FROM entry_document ORDER BY unit, number, document",
    ):
        rows += book.store.rows(statement)
    return rows


def canonical(value: object) -> bytes:
    """Canonical JSON (RFC 8785) by its reference library."""
    return rfc8785.dumps(value)  # type: ignore[arg-type] # its own checks are the test's


def digest_of(content: bytes) -> str:
    """``sha256:…``."""
    return f"sha256:{hashlib.sha256(content).hexdigest()}"


def entry(number: int, fact: dict[str, Any], **other: object) -> bytes:
    """An entry's document: RFC 8785 by its reference library."""
    at = f"2026-03-02T09:00:{number:02d}Z"
    document = {"id": f"{number:032x}", "unit": UNIT, "at": at, "recorded_at": at, "fact": fact, **other}
    if number > 1:
        document.setdefault("order", number - 1)
    return canonical({key: value for key, value in document.items() if (key, value) != ("order", 0)})


OPENED = entry(1, {"kind": "open", "label": "LB-0007"})


def unit_block(
    entries: Sequence[bytes] = (OPENED,), documents: Sequence[tuple[dict[str, Any], bytes]] = (), /, **head: object
) -> bytes:
    """A unit as it stands in the stream; ``documents`` are pairs of head and content."""
    lines = [canonical({"unit": UNIT, "entries": len(entries), **head}), *entries]
    for values, content in documents:
        lines += [canonical(values), content]
    return b"".join(line + b"\n" for line in lines)


def manifest(stream: bytes, **changes: object) -> bytes:
    """The manifest that fits a stream of one unit with one entry, but for what is changed."""
    values = {
        "format": "usbwatch-units",
        "schema": 1,
        "made_by": "usbwatch 0",
        "made_at": MADE_AT,
        "units": 1,
        "entries": 1,
        "documents": 0,
        "size": len(stream),
        "digest": digest_of(stream),
        **changes,
    }
    return canonical({key: value for key, value in values.items() if value is not None})


def plain_member(name: str, method: int = zipfile.ZIP_DEFLATED) -> zipfile.ZipInfo:
    """A member's header as an export writes it."""
    info = zipfile.ZipInfo(name)
    info.create_system = 3
    info.external_attr = 0o600 << 16
    info.compress_type = method
    return info


def zipped(members: Iterable[Member], comment: bytes = b"") -> bytes:
    """A ZIP file."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as file:
        for info, content in members:
            file.writestr(info, content)
        file.comment = comment
    return target.getvalue()


def whole(stream: bytes, **changes: object) -> bytes:
    """The archive of a stream that fits into one part."""
    parts = [(plain_member(PART), stream)] if stream else []
    return zipped([*parts, (plain_member(MANIFEST, zipfile.ZIP_STORED), manifest(stream, **changes))])


def stream_of(path: Path) -> bytes:
    """All parts of an archive, one after another."""
    with zipfile.ZipFile(path) as file:
        return b"".join(file.read(name) for name in file.namelist() if name != MANIFEST)


def stored(stream: bytes, **changes: object) -> bytes:
    """The same with nothing compressed."""
    return zipped([(part_member(compress_type=zipfile.ZIP_STORED), stream), manifest_member(stream, **changes)])


STREAM = unit_block()
"""One unit, LB-0007, with the one entry that opened it."""
GOOD = whole(STREAM)


def refusal(book: Book, path: Path, content: bytes | None = None) -> str:
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


def part_member(**changes: Any) -> zipfile.ZipInfo:  # noqa: ANN401 - any attribute
    """The first part's header, but for what is changed."""
    info = plain_member(changes.pop("name", PART))
    for name, value in changes.items():
        setattr(info, name, value)
    return info


def manifest_member(stream: bytes = STREAM, **changes: object) -> Member:
    """The manifest that fits a stream, with its header."""
    return plain_member(MANIFEST, zipfile.ZIP_STORED), manifest(stream, **changes)


def patched(content: bytes, local: tuple[int, bytes], central: tuple[int, bytes]) -> bytes:
    """The first member's two headers changed at an offset of each: APPNOTE.TXT 4.3.7 and 4.3.12."""
    changed = bytearray(content)
    for start, (offset, value) in ((0, local), (content.index(b"PK\x01\x02"), central)):
        changed[start + offset : start + offset + len(value)] = value
    return bytes(changed)
