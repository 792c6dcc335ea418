"""Documents as the book keeps them: each content once, compressed, captures against one that they resemble.

The captures of a unit hardly differ, and those of a model not much. One of
them is kept whole, and serves as the dictionary of the others (RFC 8878,
section 5): some 200 bytes then hold what 4,000 would. No chain is longer than
that one step, so any document needs at most two reads.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from usbwatch.casebook.store import Store
from usbwatch.errors import BadBook
from usbwatch.model.history import PartSerial

__all__ = ["LARGEST_DOCUMENT", "Paper", "content_of", "digest_text", "kept", "pack", "raw_digest"]

LARGEST_DOCUMENT = 64 * 1024 * 1024
"""Bytes of one capture or attached file."""

_LEVEL = 9
_WORTH_A_BASE = 0.5
"""A document is kept against another one only where that takes at most this share of what it takes alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A document on its way into the book."""

    kind: str
    """``capture``, ``file`` or ``sites``."""
    content: bytes
    """Of a capture: the canonical form of its document without the digest."""
    family: str = ""
    """Documents of one family resemble each other: of captures, what firmware calls the model."""
    serials: tuple[PartSerial, ...] = ()
    """The serial numbers in it that the unit is to be found by."""

    @property
    def raw_digest(self) -> bytes:
        """SHA-256 of the content; of a capture that is the digest that its document carries."""
        return hashlib.sha256(self.content).digest()


def raw_digest(text: str) -> bytes:
    """The 32 bytes of ``sha256:…``. Raises ValueError for another text.

    >>> len(raw_digest("sha256:" + 64 * "0"))
    32
    """
    kind, _, digits = text.partition(":")
    raw = bytes.fromhex(digits)
    if kind != "sha256" or len(raw) != hashlib.sha256().digest_size or digits != raw.hex():
        raise ValueError(f"{text!r} is no SHA-256 digest")
    return raw


def digest_text(raw: bytes) -> str:
    """The same as text, ``sha256:…``."""
    return f"sha256:{raw.hex()}"


def kept(store: Store, paper: Paper, resembling: Iterable[int] = ()) -> int:
    """The key of the document in the book, where it is put unless it is there; within a transaction.

    ``resembling`` are keys of documents that it is likely to resemble.
    """
    digest = paper.raw_digest
    there = _key(store, digest)
    if there is not None:
        return there
    whole = pack(paper.content)
    base, packed = None, whole
    for candidate in _bases(store, paper, resembling):
        against = pack(paper.content, _whole(store, candidate))
        if len(against) <= _WORTH_A_BASE * len(whole) and len(against) < len(packed):
            base, packed = candidate, against
    store.do(
        "INSERT INTO document (digest, kind, family, size, base, packed) VALUES (?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (digest) DO NOTHING",
        *(digest, paper.kind, paper.family, len(paper.content), base, packed),
    )
    key = _key(store, digest)
    assert key is not None
    return key


def _key(store: Store, digest: bytes) -> int | None:
    found = store.rows("SELECT key FROM document WHERE digest = ?", digest)
    return int(found[0][0]) if found else None


def _bases(store: Store, paper: Paper, resembling: Iterable[int]) -> list[int]:
    """Keys of documents that are kept whole and may serve: those resembling, and the latest of the family."""
    if not paper.family:
        return []
    found: dict[int, None] = {}
    for key in resembling:
        ((own, base),) = store.rows("SELECT key, base FROM document WHERE key = ?", key)
        found[own if base is None else base] = None
    latest = store.rows(
        "SELECT key FROM document WHERE family = ? AND base IS NULL ORDER BY key DESC LIMIT 1", paper.family
    )
    return [*found, *(key for (key,) in latest if key not in found)]


def content_of(store: Store, digest: bytes) -> bytes:
    """The content of a document. Raises KeyError where the book has none, ``BadBook`` where it is damaged."""
    rows = store.rows("SELECT key, base, packed FROM document WHERE digest = ?", digest)
    if not rows:
        raise KeyError(digest_text(digest))
    ((key, base, packed),) = rows
    content = _unpacked(store, packed, _whole(store, base) if base is not None else b"")
    if hashlib.sha256(content).digest() != digest:
        raise BadBook(store.name, f"is damaged: document {key} is not what was put in", "put a copy of it back")
    return content


def _whole(store: Store, key: int) -> bytes:
    rows = store.rows("SELECT packed FROM document WHERE key = ? AND base IS NULL", key)
    if not rows:
        raise BadBook(store.name, f"is damaged: document {key} is not there", "put a copy of it back")
    return _unpacked(store, rows[0][0], b"")


def pack(content: bytes, base: bytes = b"") -> bytes:
    """The content compressed (RFC 8878), alone or against a base that it resembles."""
    import zstandard

    against = zstandard.ZstdCompressionDict(base, zstandard.DICT_TYPE_RAWCONTENT) if base else None
    return zstandard.ZstdCompressor(level=_LEVEL, dict_data=against).compress(content)


def _unpacked(store: Store, packed: bytes, base: bytes) -> bytes:
    import zstandard

    against = zstandard.ZstdCompressionDict(base, zstandard.DICT_TYPE_RAWCONTENT) if base else None
    try:
        if zstandard.frame_content_size(packed) > LARGEST_DOCUMENT:
            raise BadBook(store.name, "is damaged: a document is larger than any", "put a copy of it back")
        return zstandard.ZstdDecompressor(dict_data=against).decompress(packed, max_output_size=LARGEST_DOCUMENT)
    except zstandard.ZstdError as error:
        raise BadBook(store.name, f"is damaged: {error}", "put a copy of it back") from error
