"""What must hold between the tables of a profile, and of a value beyond its shape.

Every check looks at plain TOML data and skips what has the wrong shape, so
that a misspelt key in one table does not hide a dangling name in another.
The rules of reference stand first, as tables.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from usbwatch.model import is_location
from usbwatch.profile.days import is_day
from usbwatch.profile.faults import Fault, Place, quoted, suggestion, word
from usbwatch.profile.overlaps import claims_in, overlaps
from usbwatch.profile.places import impossible

__all__ = ["crosschecks"]

_PARTS = ("subassembly", "section", "link", "rail")
_WITH_IDS = ("variant", *_PARTS, "device", "check")
"""Tables whose ids share one name space."""

_REFERENCES: dict[tuple[str, str], tuple[str, ...]] = {
    ("variant", "without"): ("device", "check"),
    ("section", "within"): ("subassembly", "link"),
    ("rail", "within"): ("subassembly",),
    ("device", "within"): ("subassembly",),
    ("link", "joins"): ("subassembly",),
    ("device", "needs"): (*_PARTS, "device"),
    ("check", "needs"): (*_PARTS, "device"),
}
"""Which tables the names in a key may come from."""

_LONGEST_CIRCLE = 8
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}\Z", re.ASCII)
_USB_OR_PCI_ID = re.compile(r"[0-9A-Fa-f]{4}:[0-9A-Fa-f]{4}\Z")

_Entries = dict[str, dict[str, dict[str, object]]]


def crosschecks(document: dict[str, object]) -> Iterator[Fault]:
    """Every fault that a look at one value alone, or at its shape, does not show."""
    entries = {table: _tables_in(document.get(table)) for table in _WITH_IDS}
    yield from _too_many_parts(entries)
    yield from _twice_used_ids(entries)
    yield from _bad_references(entries)
    yield from _links_to_itself(entries)
    yield from _needs_faults(entries)
    yield from _device_values(entries["device"])
    yield from _taken_twice(entries)
    yield from _date_faults(document)
    yield from _choosing_faults(document, entries["variant"])
    yield from _money_faults(document.get("money"))


def _tables_in(value: object) -> dict[str, dict[str, object]]:
    if not isinstance(value, dict):
        return {}
    return {key: table for key, table in value.items() if isinstance(table, dict)}


MOST_PARTS = 400
"""Subassemblies, sections, links and rails together: weighing faults grows with the square of them."""


def _too_many_parts(entries: _Entries) -> Iterator[Fault]:
    counts = {table: len(entries[table]) for table in _PARTS}
    largest = max(counts, key=counts.__getitem__)
    if sum(counts.values()) > MOST_PARTS >= counts[largest]:
        problem = f"{sum(counts.values())} parts in {', '.join(_PARTS[:-1])} and {_PARTS[-1]}; at most {MOST_PARTS}"
        yield Fault(place=(largest,), problem=problem)


def _texts(value: object, place: Place) -> Iterator[tuple[Place, str]]:
    """A text, or the texts of a list, each with its place."""
    if isinstance(value, str):
        yield place, value
    elif isinstance(value, list):
        yield from (((*place, index), item) for index, item in enumerate(value) if isinstance(item, str))


def _twice_used_ids(entries: _Entries) -> Iterator[Fault]:
    first: dict[str, str] = {}
    for table in _WITH_IDS:
        for key in entries[table]:
            if first.setdefault(key, table) != table:
                problem = f"this id is used by {first[key]}.{word(key)} too; ids are unique over all tables"
                yield Fault(place=(table, key), problem=problem)


def _bad_references(entries: _Entries) -> Iterator[Fault]:
    table_of = {key: table for table in reversed(_WITH_IDS) for key in entries[table]}
    for (table, key), allowed in _REFERENCES.items():
        known = [name for kind in allowed for name in entries[kind]]
        for name, entry in entries[table].items():
            for place, text in _texts(entry.get(key), (table, name, key)):
                if not any(text in entries[kind] for kind in allowed):
                    yield Fault(place=place, problem=_dangling(text, table_of.get(text, ""), allowed, known))


def _dangling(text: str, is_a: str, allowed: tuple[str, ...], known: list[str]) -> str:
    if is_a:
        return f"{quoted(text)} is a {is_a}; expected a {_one_of(allowed)}"
    return f"{quoted(text)} names nothing in this profile{suggestion(text, known)}"


def _one_of(words: tuple[str, ...]) -> str:
    *most, last = words
    return f"{', '.join(most)} or {last}" if most else last


def _links_to_itself(entries: _Entries) -> Iterator[Fault]:
    for name, entry in entries["link"].items():
        ends = [text for _, text in _texts(entry.get("joins"), ())]
        if len(ends) != len(set(ends)):
            yield Fault(
                place=("link", name, "joins"), problem="joins a subassembly with itself; name the two it lies between"
            )


def _needs_faults(entries: _Entries) -> Iterator[Fault]:
    """Circles among devices, and devices or checks whose needs end nowhere."""
    needs = {name: _needs(entry) for name, entry in entries["device"].items()}
    looped: set[str] = set()
    for circle in _circles(needs):
        looped.update(circle)
        yield Fault(place=("device", circle[0], "needs"), problem=f"goes round in a circle: {_round(circle)}")
    grounded = _grounded(needs, looped)
    for table in ("device", "check"):
        for name, entry in entries[table].items():
            if name not in looped and not any(text not in needs or text in grounded for text in _needs(entry)):
                yield Fault(place=(table, name, "needs"), problem=_NO_PART)


_NO_PART = "reaches no part that could fail; name the subassembly, section, link or rail it depends on"


def _needs(entry: dict[str, object]) -> list[str]:
    """The names in ``needs``; "" stands for what is no name, and has its own fault."""
    value = entry.get("needs", [])
    return [item if isinstance(item, str) else "" for item in value] if isinstance(value, list) else [""]


def _circles(needs: dict[str, list[str]]) -> Iterator[list[str]]:
    """Circles of names, each beginning and ending with the same one: one for every need that leads back."""
    done: set[str] = set()
    for start in needs:
        path: dict[str, None] = {}
        ahead = [iter([start])]
        while ahead:
            name = next(ahead[-1], None)
            if name is None:
                ahead.pop()
                if path:
                    done.add(path.popitem()[0])
            elif name in path:
                yield [*list(path)[list(path).index(name) :], name]
            elif name in needs and name not in done:
                path[name] = None
                ahead.append(iter(needs[name]))


def _round(circle: list[str]) -> str:
    """A circle in words, the middle of a long one left out."""
    shown = circle if len(circle) <= _LONGEST_CIRCLE else [*circle[: _LONGEST_CIRCLE - 2], "", circle[-1]]
    return " needs ".join(word(name) if name else "…" for name in shown)


def _grounded(needs: dict[str, list[str]], looped: set[str]) -> set[str]:
    """Names from which following ``needs`` ends at something other than a device.

    Names in a circle, and names of nothing, count as ends: they have their own fault.
    """
    needed_by: dict[str, list[str]] = {}
    for name, others in needs.items():
        for other in others:
            needed_by.setdefault(other, []).append(name)
    found: set[str] = set()
    ahead = [*looped, *(name for name in needed_by if name not in needs)]
    while ahead:
        name = ahead.pop()
        if name not in found:
            found.add(name)
            ahead.extend(needed_by.get(name, ()))
    return found


def _device_values(devices: dict[str, dict[str, object]]) -> Iterator[Fault]:
    for name, device in devices.items():
        for place, text in _texts(device.get("location"), ("device", name, "location")):
            problem = impossible(text, str(device.get("function", "")))
            if not is_location(text):
                yield Fault(place=place, problem=f"{quoted(text)} is no location; write it as {_EXAMPLE}")
            elif problem:
                yield Fault(place=place, problem=f"{quoted(text)} {problem}")
        for place, text in _texts(device.get("identity"), ("device", name, "identity")):
            if _USB_OR_PCI_ID.match(text) and text != text.lower():
                yield Fault(place=place, problem=f"{quoted(text)} would never match; write {text.lower()}")


_EXAMPLE = "a capture does, such as pci0000:00/14.0/usb2/4.1 or acpi/_SB_.BAT0"


def _taken_twice(entries: _Entries) -> Iterator[Fault]:
    """Devices that one node would stand for, with nothing to tell them apart."""
    lacking = (frozenset(_ids(variant.get("without"))) for variant in entries["variant"].values())
    for overlap in overlaps(claims_in(entries["device"]), lacking):
        if overlap.certain:
            yield Fault(place=("device", overlap.device, overlap.key), problem=overlap.problem)


def _ids(value: object) -> Iterator[str]:
    return (text for _, text in _texts(value, ()))


def _date_faults(document: dict[str, object]) -> Iterator[Fault]:
    basis = document.get("basis")
    days: dict[Place, object] = {("date",): document.get("date")}
    if isinstance(basis, dict):
        days |= {("basis", key): basis.get(key) for key in ("since", "until")}
    for place, value in days.items():
        if isinstance(value, str) and _DATE.match(value) and not is_day(value):
            yield Fault(place=place, problem=f"{quoted(value)} is no day of the calendar")


def _choosing_faults(document: dict[str, object], variants: dict[str, dict[str, object]]) -> Iterator[Fault]:
    if document.get("generic") is True and document.get("match"):
        yield Fault(place=("match",), problem="a generic profile fits any unit; leave [match] or generic = true out")
    for name, variant in variants.items():
        if variant.get("match") == {}:
            yield Fault(place=("variant", name, "match"), problem="is empty, so nothing tells this variant; give a key")


def _money_faults(money: object) -> Iterator[Fault]:
    if not isinstance(money, dict):
        return
    working, as_is = money.get("value_working"), money.get("value_as_is")
    if isinstance(working, int) and isinstance(as_is, int) and as_is > working:
        problem = f"{as_is} is more than value_working, {working}; a unit is worth less before its repair"
        yield Fault(place=("money", "value_as_is"), problem=problem)
