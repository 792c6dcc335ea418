"""Entries as documents: canonical JSON (RFC 8785) with a digest, and back.

What comes out of a book or an archive is checked as hard as any other input:
an entry is only believed when its shape, its digest and its times hold.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from usbwatch.capture.document import Document, canonical, plain
from usbwatch.errors import BadEntry
from usbwatch.model.history import (
    Amended,
    Answered,
    Attached,
    Baselined,
    Captured,
    Closed,
    Entry,
    Noted,
    Opened,
    Recorded,
    Reopened,
    StepDone,
)

__all__ = [
    "HIGHEST_ORDER",
    "KINDS",
    "LONGEST_ENTRY",
    "Written",
    "as_read",
    "digests_in",
    "entry_of",
    "kind_of",
    "written",
]

KINDS: dict[str, type[Recorded]] = {
    "open": Opened,
    "reopen": Reopened,
    "capture": Captured,
    "answer": Answered,
    "step": StepDone,
    "note": Noted,
    "file": Attached,
    "baseline": Baselined,
    "close": Closed,
    "amend": Amended,
}
"""The kinds of entries, by the word for them in a document."""

_WORD = {kind: word for word, kind in KINDS.items()}

_ID = re.compile(r"[0-9a-f]{32}\Z")
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ\Z", re.ASCII)
HIGHEST_ORDER = 1_000_000
"""Of one unit's entries: more than any bench writes down."""
LONGEST_ENTRY = 256 * 1024
"""Bytes of one entry's document."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """An entry's document."""

    body: bytes
    """Its canonical bytes."""
    digest: bytes
    """SHA-256 over them, 32 bytes."""


def kind_of(fact: Recorded) -> str:
    """The word for a fact's kind.

    >>> kind_of(Noted(text="smells of coffee"))
    'note'
    """
    return _WORD[type(fact)]


def written(entry: Entry) -> Written:
    """An entry as a document; its number is not part of it, since that differs from book to book."""
    fact = _fact_document(entry.fact)
    document: Document = {
        "id": entry.id,
        "unit": entry.unit,
        "at": entry.at,
        "recorded_at": entry.recorded_at,
        "fact": fact,
    }
    if entry.by:
        document["by"] = plain(entry.by)
    if entry.order:
        document["order"] = entry.order
    body = canonical(document)
    return Written(body=body, digest=hashlib.sha256(body).digest())


def as_read(entry: Entry) -> Entry:
    """The entry as it will be read once it is written. Raises ``BadEntry`` for one that could not be read again."""
    return entry_of(written(entry).body, entry.number)


def _fact_document(fact: Recorded) -> Document:
    document = plain(fact)
    assert isinstance(document, dict)
    if isinstance(fact, Amended) and fact.instead is not None:
        document["instead"] = _fact_document(fact.instead)
    return {"kind": kind_of(fact), **document}


def entry_of(body: bytes, number: int) -> Entry:
    """The entry that a document holds. Raises ``BadEntry`` for anything else."""
    document = _decoded(body)
    fact = document.get("fact")
    entry = Entry(
        id=_matching(document, "id", _ID),
        unit=_matching(document, "unit", _ID),
        number=number,
        at=_moment(document, "at"),
        recorded_at=_moment(document, "recorded_at"),
        fact=_fact(fact),
        by=_text(document, "by"),
        order=_order(document),
    )
    if written(entry).body != body:
        raise BadEntry(entry.id, "is not written as such an entry is, or holds something that is not known here")
    return entry


def _decoded(body: bytes) -> dict[str, Any]:
    import msgspec

    if len(body) > LONGEST_ENTRY:
        raise BadEntry("", f"is larger than {LONGEST_ENTRY // 1024} KiB")
    try:
        found = msgspec.json.decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise BadEntry("", f"is no JSON document ({error})") from None
    if not isinstance(found, dict):
        raise BadEntry("", "is no JSON object")
    return found


def _fact(document: object) -> Recorded:
    import msgspec

    kind = document.get("kind") if isinstance(document, dict) else None
    if not isinstance(document, dict) or not isinstance(kind, str) or kind not in KINDS:
        raise BadEntry("", "is of no kind that is known here")
    fields = {key: value for key, value in document.items() if key != "kind"}
    try:
        if KINDS[kind] is Amended:
            return _amendment(fields)
        found: Recorded = msgspec.convert(fields, KINDS[kind], strict=True)
    except (msgspec.ValidationError, RecursionError) as error:
        raise BadEntry("", f"does not have the shape of its kind, {kind}: {error}") from None
    return found


def _amendment(fields: dict[str, Any]) -> Amended:
    """The library takes no union of several dataclasses, so what stands instead is read by its own kind."""
    import msgspec

    told = msgspec.convert({key: fields.get(key) for key in ("entry", "reason")}, dict[str, str], strict=True)
    instead = _fact(fields["instead"]) if "instead" in fields else None
    if isinstance(instead, Amended):
        raise BadEntry("", "puts an amendment in the place of something")
    return Amended(entry=told["entry"], reason=told["reason"], instead=instead)


def _matching(document: dict[str, Any], key: str, form: re.Pattern[str]) -> str:
    value = document.get(key)
    if not isinstance(value, str) or not form.match(value):
        raise BadEntry("", f'has no proper "{key}"')
    return value


def _moment(document: dict[str, Any], key: str) -> str:
    value = _matching(document, key, _MOMENT)
    try:
        datetime.fromisoformat(value)
    except ValueError:
        raise BadEntry("", f'has a "{key}" that no calendar has') from None
    return value


def _text(document: dict[str, Any], key: str) -> str:
    value = document.get(key, "")
    if not isinstance(value, str):
        raise BadEntry("", f'has no proper "{key}"')
    return value


def _order(document: dict[str, Any]) -> int:
    value = document.get("order", 0)
    if type(value) is not int or not 0 <= value <= HIGHEST_ORDER:
        raise BadEntry("", 'has no proper "order"')
    return value


def digests_in(fact: Recorded) -> tuple[str, ...]:
    """The digests of the documents that a fact speaks of.

    >>> digests_in(Noted(text="smells of coffee"))
    ()
    """
    if isinstance(fact, Amended):
        return digests_in(fact.instead) if fact.instead is not None else ()
    if isinstance(fact, (Captured, Baselined)):
        return (fact.capture,)
    if isinstance(fact, Attached):
        return (fact.file,)
    return (fact.sites,) if isinstance(fact, Closed) and fact.sites else ()
