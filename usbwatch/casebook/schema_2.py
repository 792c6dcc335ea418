"""The step to schema 2: a table of serial numbers, filled from what the book has by then.

Written for books of schema 1 alone, and left as it is. New entries and
captures bring their serial numbers along (``usbwatch.casebook.serials``).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from usbwatch.casebook.packing import content_of
from usbwatch.casebook.serials import add_serials, serials_of_document
from usbwatch.casebook.store import Store
from usbwatch.errors import BadBook
from usbwatch.model.history import PartSerial

__all__ = ["serial_numbers"]


def serial_numbers(store: Store) -> None:
    """2: serial numbers, for the search; ``part`` is an expected device's id, ``unit``, ``board``, or a subassembly's.

    Of a capture from before this step it is what the part does, or its bus:
    no profile is at hand here.
    """
    store.do(
        """CREATE TABLE serial (
            folded {text} NOT NULL,
            unit {int} NOT NULL REFERENCES unit (key),
            part {text} NOT NULL,
            shown {text} NOT NULL,
            PRIMARY KEY (folded, unit, part)
        ){keyed}"""
    )
    for unit, body in store.rows("SELECT unit, body FROM entry"):
        add_serials(store, unit, _told(json.loads(bytes(body))["fact"]))
    for unit, digest in store.rows(
        "SELECT DISTINCT entry_document.unit, document.digest FROM entry_document"
        " JOIN document ON document.key = entry_document.document WHERE document.kind = 'capture'"
    ):
        add_serials(store, unit, _in_capture(store, bytes(digest)))


def _told(fact: dict[str, Any]) -> Iterator[PartSerial]:
    """Of a baseline, or of the part that a step put in."""
    for each in fact.get("serials", ()):
        yield PartSerial(of=each["of"], serial=each["serial"])
    serial = fact.get("part", {}).get("serial", "")
    if serial:
        yield PartSerial(of=fact["step"]["of"], serial=serial)
    if fact["kind"] == "amend" and "instead" in fact:
        yield from _told(fact["instead"])


def _in_capture(store: Store, digest: bytes) -> tuple[PartSerial, ...]:
    """Those of one capture; none of a document that is damaged."""
    try:
        return serials_of_document(json.loads(content_of(store, digest)))
    except (BadBook, ValueError):
        return ()
