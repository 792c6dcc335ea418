"""What tells one part from another of its type, or one type from another: serial numbers, names, design values."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum

from usbwatch.capture.decode.edid import Edid, decode
from usbwatch.capture.power_supply import is_reading
from usbwatch.compare.serials import serials_of_node
from usbwatch.model import Fact, Node

__all__ = ["Mark", "Rank", "marks"]


class Rank(IntEnum):
    """How much a mark says; the most telling first."""

    SERIAL = 0
    """Names one part."""
    ADDRESS = 1
    """Names one part, unless a system chose it."""
    NAME = 2
    """What the part calls itself: names a type, and never changes."""
    VALUE = 3
    """A design value: it counts where no serial number is to compare, for firmware may tell it otherwise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One thing by which a part is known."""

    word: str
    """What it is, in words: "battery serial number"."""
    value: Fact
    rank: Rank


_NAMES: Mapping[str, tuple[tuple[str, str], ...]] = {
    "usb": (("manufacturer", "manufacturer"), ("product", "product name")),
    "power_supply": (("manufacturer", "manufacturer"), ("model_name", "model")),
    "nvme": (("model", "disk model"),),
    "mmc": (("name", "card name"), ("date", "card date of manufacture")),
}
"""By bus: facts that are written into a part when it is made, and what they are in words."""

_IDENTITIES = {
    "hdaudio": "codec id",
    "mmc": "card maker and application id",
    "pci": "PCI vendor and device id",
    "usb": "USB vendor and product id",
}
"""By bus: identities that come from the part. On I2C, SPI and in ACPI it is firmware that says what is there."""

_ROUNDED_TO = 1000


def marks(nodes: Iterable[Node]) -> dict[str, Mark]:
    """The marks of one device's nodes by their words, the most telling first."""
    found = [mark for node in nodes for mark in _of_node(node)]
    by_word: dict[str, Mark] = {}
    for mark in sorted(found, key=lambda one: one.rank):
        by_word.setdefault(mark.word, mark)
    return by_word


def _of_node(node: Node) -> Iterator[Mark]:
    for word, serial in serials_of_node(node):
        yield Mark(word=word, value=serial, rank=Rank.ADDRESS if node.bus == "net" else Rank.SERIAL)
    names = [(word, str(node.facts.get(fact, "")).strip()) for fact, word in _NAMES.get(node.bus, ())]
    names += [(_IDENTITIES.get(node.bus, ""), node.identity)]
    names += [("disk model", node.name.strip())] if node.bus == "block" else []
    yield from (Mark(word=word, value=text, rank=Rank.NAME) for word, text in names if word and text)
    yield from _of_panel(node)
    yield from _VALUES.get(node.bus, _no_values)(node)


def _of_panel(node: Node) -> Iterator[Mark]:
    try:
        told = decode(bytes.fromhex(node.raw.get("edid", "")))
    except ValueError:
        return
    names = (("EDID maker and product code", told.identity), ("EDID date of manufacture", _date(told)))
    yield from (Mark(word=word, value=text, rank=Rank.NAME) for word, text in names if text)


def _date(told: Edid) -> str:
    """Year and week of manufacture, or the model year; "" for a block that ends before them."""
    if told.year is None:
        return ""
    if told.model_year:
        return f"model year {told.year}"
    return f"week {told.week} of {told.year}" if told.week else f"{told.year}"


def _no_values(_node: Node) -> Iterator[Mark]:
    return iter(())


def _of_pack(node: Node) -> Iterator[Mark]:
    """The design capacity, in the unit in which the gauge counts: mAh and mWh are never compared."""
    for family, unit in (("charge", "mAh"), ("energy", "mWh")):
        value = node.facts.get(f"{family}_full_design")
        if isinstance(value, int) and is_reading(value):
            yield Mark(word=f"design capacity in {unit}", value=value // _ROUNDED_TO, rank=Rank.VALUE)


def _of_disk(node: Node) -> Iterator[Mark]:
    size = node.facts.get("size")
    if isinstance(size, int) and size > 0 and not node.facts.get("removable"):
        yield Mark(word="disk size in sectors of 512 bytes", value=size, rank=Rank.VALUE)


_VALUES: Mapping[str, Callable[[Node], Iterator[Mark]]] = {"power_supply": _of_pack, "block": _of_disk}
