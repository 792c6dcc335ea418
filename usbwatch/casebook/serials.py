"""Serial numbers of a unit and its parts, kept beside the entries so that a unit is found by them.

They come from captures, and so from whatever a part says of itself: cut, and
without what a store cannot hold.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from usbwatch.casebook.rules import folded, storable
from usbwatch.casebook.store import Store
from usbwatch.model.history import Amended, Baselined, PartSerial, Recorded, StepDone

__all__ = ["LONGEST_SERIAL", "add_serials", "folded_serial", "serials_in", "serials_of_document"]

LONGEST_SERIAL = 200
"""Characters that are kept of one serial number; a USB string descriptor has at most 126 (USB 2.0, section 9.6.7)."""


def folded_serial(serial: str) -> str:
    """What a serial number is found by: case and spaces folded.

    >>> folded_serial(" LG-0001  demo ")
    'lg-0001 demo'
    """
    return folded(serial[:LONGEST_SERIAL])[:LONGEST_SERIAL]


def serials_in(fact: Recorded) -> tuple[PartSerial, ...]:
    """The serial numbers that a fact tells; a capture's are told by whoever reads it."""
    if isinstance(fact, Amended):
        return serials_in(fact.instead) if fact.instead is not None else ()
    if isinstance(fact, Baselined):
        return fact.serials
    if isinstance(fact, StepDone) and fact.part.serial:
        return (PartSerial(of=fact.step.of, serial=fact.part.serial),)
    return ()


def serials_of_document(document: dict[str, Any]) -> tuple[PartSerial, ...]:
    """Those of a capture's document where no profile is at hand: the unit's, the board's, and those of fixed parts.

    A part is then called by what it does, or by its bus. What stands where
    nobody filled in a serial number is none (``usbwatch.compare.serials``).
    """
    from usbwatch.compare.serials import is_serial

    found = [PartSerial(of="unit", serial=str(document.get("unit", {}).get("product_serial", "")))]
    for node in document.get("nodes", ()):
        facts = node.get("facts", {})
        serial = str(facts.get("serial", facts.get("serial_number", "")))
        if node["location"] == "dmi/type2":
            found.append(PartSerial(of="board", serial=serial))
        elif node["kind"] in {"device", "function"} and facts.get("removable") != "removable":
            found.append(PartSerial(of=(node.get("functions") or [node["bus"]])[0], serial=serial))
    return tuple(each for each in found if is_serial(each.serial))


def add_serials(store: Store, unit: int, serials: Iterable[PartSerial]) -> None:
    """Write down that the unit with this key has, or had, parts with these serial numbers; within a transaction."""
    for each in serials:
        text = folded_serial(each.serial)
        if text:
            store.do(
                "INSERT INTO serial (folded, unit, part, shown) VALUES (?, ?, ?, ?)"
                " ON CONFLICT (folded, unit, part) DO NOTHING",
                *(
                    text,
                    unit,
                    storable(each.of)[:LONGEST_SERIAL],
                    storable(" ".join(each.serial.split()))[:LONGEST_SERIAL],
                ),
            )
