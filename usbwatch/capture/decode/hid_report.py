"""What a HID report descriptor describes: application collections and their reports.

Items are laid out by HID 1.11 section 6.2.2 (numbers from memory), read as the
kernel reads them (drivers/hid/hid-core.c): a usage of one or two bytes takes
the usage page in force at the main item that uses it, one of four bytes
carries its own; prefixes with tag 15 start a long item. A device is told by
the usages of its application collections.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Dict, FrozenSet, Iterator, List, NamedTuple, Set, Tuple

from usbwatch.capture.decode.defect import Defect

__all__ = ["LONGEST", "Application", "HidReport", "Report", "decode", "functions_of"]

LONGEST = 4096
"""Bytes that are read at most: the kernel's HID_MAX_DESCRIPTOR_SIZE (include/uapi/linux/hid.h)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Application:
    """One application collection."""

    offset: int
    """Of the Collection item."""
    usage_page: int
    usage: int
    """0 with page 0 when the descriptor names none."""
    report_ids: Tuple[int, ...]
    """Of the reports that have fields in it, sorted; empty when the device numbers no reports."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """One report and its size."""

    kind: str
    """``input``, ``output`` or ``feature``."""
    report_id: int
    """0: not numbered."""
    bits: int
    """Of all its fields, without the report id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HidReport:
    """What a report descriptor describes, and what is wrong with it."""

    applications: Tuple[Application, ...] = ()
    """In the order of the bytes."""
    reports: Tuple[Report, ...] = ()
    """By kind, then report id."""
    defects: Tuple[Defect, ...] = ()
    """By offset."""


# The functions of an application collection. Usages: include/linux/hid.h,
# HID Usage Tables pages 01, 0D and 20. Pages 84 (power device) and 85 (battery
# system) are those of an uninterruptible power supply on a cable: its battery
# is not the unit's. Radio keys (01:0C) are none of a unit's parts.
_FUNCTIONS: Dict[Tuple[int, int], Tuple[str, ...]] = {
    (0x01, 0x01): ("pointing-device",),
    (0x01, 0x02): ("mouse", "pointing-device"),
    (0x01, 0x06): ("keyboard",),
    (0x0D, 0x01): ("pen",),  # the kernel gives it a pen as its tool: drivers/hid/hid-input.c
    (0x0D, 0x02): ("pen",),
    (0x0D, 0x03): ("pen",),
    (0x0D, 0x04): ("touchscreen",),
    (0x0D, 0x05): ("pointing-device", "touchpad"),
    (0x0D, 0x20): ("pen",),
}
_FUNCTIONS_OF_PAGE: Dict[int, Tuple[str, ...]] = {0x20: ("sensor",)}
_FALLBACKS = frozenset({(0x01, 0x01), (0x01, 0x02)})
"""What touchpads, touch screens and pens carry besides, for hosts that know no better."""
_ABSOLUTE_PAGE = 0x0D

# Item types (prefix bits 3 and 2).
_MAIN, _GLOBAL, _LOCAL, _RESERVED = range(4)
_LONG_TAG = 15

# Tags by type (prefix bits 7 to 4).
_COLLECTION = 10
_END_COLLECTION = 12
_FIELDS = {8: "input", 9: "output", 11: "feature"}
_USAGE_PAGE = 0
_REPORT_SIZE = 7
_REPORT_ID = 8
_REPORT_COUNT = 9
_PUSH = 10
_POP = 11
_USAGE = 0
_USAGE_MINIMUM = 1

_KNOWN_TAGS: Dict[int, FrozenSet[int]] = {
    _MAIN: frozenset({*_FIELDS, _COLLECTION, _END_COLLECTION}),
    _GLOBAL: frozenset(range(12)),
    _LOCAL: frozenset({0, 1, 2, 3, 4, 5, 7, 8, 9, 10}),
    _RESERVED: frozenset(),
}
_TYPE_NAMES = ("main", "global", "local", "reserved")

_APPLICATION = 0x01
_RANGES = {
    _REPORT_SIZE: ("report_size", "Report Size", 0, 256),
    _REPORT_ID: ("report_id", "Report ID", 1, 255),
    _REPORT_COUNT: ("report_count", "Report Count", 0, 12288),
}
"""Attribute, name, least and greatest value: the kernel's limits (hid_parser_global, HID_MAX_IDS, HID_MAX_USAGES)."""
_DEEPEST_PUSH = 4
"""The kernel's HID_GLOBAL_STACK_SIZE."""


class _Item(NamedTuple):
    """One short item."""

    offset: int
    kind: int
    tag: int
    size: int
    value: int


class _Globals(NamedTuple):
    """The global items in force; Push and Pop save and restore them."""

    usage_page: int = 0
    report_size: int = 0
    report_count: int = 0
    report_id: int = 0


class _ApplicationDraft:
    """An application collection, and the report ids seen in it so far."""

    def __init__(self, offset: int, usage_page: int, usage: int) -> None:
        self.offset = offset
        self.usage_page = usage_page
        self.usage = usage
        self.report_ids: Set[int] = set()

    def finished(self) -> Application:
        return Application(
            offset=self.offset,
            usage_page=self.usage_page,
            usage=self.usage,
            report_ids=tuple(sorted(self.report_ids)),
        )


class _Walk:
    """Takes one item after the other, with the state that HID 1.11 section 6.2.2 asks of a parser."""

    def __init__(self) -> None:
        self.globals = _Globals()
        self.pushed: List[_Globals] = []
        self.usage: _Item | None = None
        """The first Usage (or Usage Minimum) since the last main item."""
        self.open: List[_ApplicationDraft | None] = []
        """For each open collection, the innermost application it is in."""
        self.applications: List[_ApplicationDraft] = []
        self.bits: Dict[Tuple[str, int], int] = {}
        self.defects: List[Defect] = []

    def complain(self, offset: int, problem: str) -> None:
        self.defects.append(Defect(offset=offset, problem=problem))

    def take(self, item: _Item) -> None:
        if item.tag not in _KNOWN_TAGS[item.kind]:
            self.complain(item.offset, f"{_TYPE_NAMES[item.kind]} item with tag {item.tag}, which has no meaning")
        elif item.kind == _GLOBAL:
            self.take_global(item)
        elif item.kind == _LOCAL and self.usage is None and item.tag in (_USAGE, _USAGE_MINIMUM):
            self.usage = item
        if item.kind == _MAIN:
            self.take_main(item)
            self.usage = None

    def take_main(self, item: _Item) -> None:
        if item.tag == _COLLECTION:
            self.take_collection(item)
        elif item.tag == _END_COLLECTION:
            if self.open:
                self.open.pop()
            else:
                self.complain(item.offset, "End Collection without a collection")
        elif item.tag in _FIELDS:
            self.take_field(_FIELDS[item.tag])

    def take_collection(self, item: _Item) -> None:
        application = self.open[-1] if self.open else None
        if item.value & 0xFF == _APPLICATION:
            usage_page, usage = self.whole_usage()
            if self.usage is None:
                self.complain(item.offset, "application collection without a usage")
            application = _ApplicationDraft(item.offset, usage_page, usage)
            self.applications.append(application)
        self.open.append(application)

    def whole_usage(self) -> Tuple[int, int]:
        """The usage page and usage that a main item takes."""
        if self.usage is None:
            return 0, 0
        if self.usage.size > 2:  # noqa: PLR2004  a four-byte usage carries its page
            return self.usage.value >> 16, self.usage.value & 0xFFFF
        return self.globals.usage_page, self.usage.value

    def take_field(self, kind: str) -> None:
        report = (kind, self.globals.report_id)
        self.bits[report] = self.bits.get(report, 0) + self.globals.report_size * self.globals.report_count
        application = self.open[-1] if self.open else None
        if application is not None and self.globals.report_id:
            application.report_ids.add(self.globals.report_id)

    def take_global(self, item: _Item) -> None:
        if item.tag == _PUSH:
            if len(self.pushed) == _DEEPEST_PUSH:
                self.complain(item.offset, f"more than {_DEEPEST_PUSH} Push items deep")
            self.pushed.append(self.globals)
        elif item.tag == _POP:
            if self.pushed:
                self.globals = self.pushed.pop()
            else:
                self.complain(item.offset, "Pop without a Push")
        elif item.tag == _USAGE_PAGE:
            self.globals = self.globals._replace(usage_page=item.value & 0xFFFF)
        else:
            self.take_report_global(item)

    def take_report_global(self, item: _Item) -> None:
        """Report Size, Report Count or Report ID; a value out of range is said and not used."""
        if item.tag not in _RANGES:
            return
        attribute, name, least, most = _RANGES[item.tag]
        if least <= item.value <= most:
            self.globals = self.globals._replace(**{attribute: item.value})
        else:
            self.complain(item.offset, f"{name} is {item.value}, allowed is {least} to {most}")


def decode(data: bytes) -> HidReport:
    """What a report descriptor describes. Raises nothing, and reads at most ``LONGEST`` bytes."""
    walk = _Walk()
    for item in _items(data[:LONGEST], walk.defects):
        walk.take(item)
    if not walk.applications:
        walk.complain(0, "no application collection" if data else "no bytes at all")
    if walk.open:
        walk.complain(len(data[:LONGEST]), f"collections left open at the end: {len(walk.open)}")
    if len(data) > LONGEST:
        problem = f"longer than the {LONGEST} bytes that the kernel takes; the rest was not read"
        walk.defects.append(Defect(offset=LONGEST, problem=problem, length=len(data) - LONGEST))
    return HidReport(
        applications=tuple(draft.finished() for draft in walk.applications),
        reports=tuple(
            Report(kind=kind, report_id=report_id, bits=bits) for (kind, report_id), bits in sorted(walk.bits.items())
        ),
        defects=tuple(sorted(walk.defects, key=lambda defect: defect.offset)),
    )


def functions_of(report: HidReport) -> Tuple[str, ...]:
    """What the device does, sorted, by its most specific application collections.

    A touchpad, touch screen or pen also carries a mouse collection for hosts
    that know no better: then that one does not count.
    """
    usages = {(application.usage_page, application.usage) for application in report.applications}
    if any(page == _ABSOLUTE_PAGE and (page, usage) in _FUNCTIONS for page, usage in usages):
        usages -= _FALLBACKS
    found = {
        function
        for page, usage in usages
        for function in (*_FUNCTIONS.get((page, usage), ()), *_FUNCTIONS_OF_PAGE.get(page, ()))
    }
    return tuple(sorted(found))


def _items(data: bytes, defects: List[Defect]) -> Iterator[_Item]:
    """The short items. Long items, and an item that the end cuts off, become defects."""
    offset = 0
    while offset < len(data):
        prefix = data[offset]
        length, problem = _extent(data, offset)
        left = len(data) - offset
        if length > left:
            problem = f"item of {length} bytes, but only {left} are there"
        if problem:
            defects.append(Defect(offset=offset, problem=problem, length=min(length, left)))
        else:
            value = int.from_bytes(data[offset + 1 : offset + length], "little")
            yield _Item(offset, prefix >> 2 & 0x03, prefix >> 4, length - 1, value)
        offset += length


def _extent(data: bytes, offset: int) -> Tuple[int, str]:
    """Bytes of the item with its prefix (HID 1.11 sections 6.2.2.2 and 6.2.2.3), and what is odd about it."""
    prefix = data[offset]
    if prefix >> 4 != _LONG_TAG:
        return 1 + (0, 1, 2, 4)[prefix & 0x03], ""
    data_size = data[offset + 1] if offset + 1 < len(data) else 0
    return 3 + data_size, "long item, of which the standard defines none; passed over"
