"""A fresh draft worked into a profile that a person has edited: every line of theirs stays as it is.

The file is changed as text. Tables for devices that it does not have are put
behind its last device, and the digest is made anew if it has one. What else the
capture shows otherwise is told, and left to the person.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace

from usbwatch.drafting.differing import differences
from usbwatch.drafting.draft import Draft, Entry
from usbwatch.drafting.naming import distinct
from usbwatch.drafting.pieces import comment
from usbwatch.drafting.purposes import assumed_keyboard
from usbwatch.drafting.writing import device_text
from usbwatch.model import ExpectedDevice, PartKind, Profile
from usbwatch.profile.lines import Lines

__all__ = ["Update", "updated"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Update:
    """What a re-draft came to."""

    text: str
    """The file, with what is new."""
    added: tuple[str, ...]
    """Ids of devices that were added."""
    unseen: tuple[str, ...]
    """Ids of devices of the file that the capture does not show; they were kept."""
    remarks: tuple[str, ...]
    """What the capture shows otherwise than the file says, a sentence each; the file was left as it is."""


_BYTE_ORDER_MARK = "\ufeff"
"""What some editors put before a text in UTF-8; it stays where it is."""


def updated(text: str, profile: Profile, fresh: Draft) -> Update:
    """``text``, a sound profile file that reads as ``profile``, with the devices of ``fresh`` that it lacks."""
    if text.startswith(_BYTE_ORDER_MARK):
        made = updated(text.removeprefix(_BYTE_ORDER_MARK), profile, fresh)
        return replace(made, text=f"{_BYTE_ORDER_MARK}{made.text}")
    known = _pairs(profile, fresh)
    turned_down = _commented_places(text)
    lacking = [one for one in fresh.entries if one.device.id not in known and not _is_turned_down(one, turned_down)]
    refused = {one.device.id: why for one in lacking if (why := _why_not(one, profile, text))}
    new = [one for one in lacking if one.device.id not in refused]
    fitted = _fitted(new, profile, fresh, known)
    shown = {one.id for one in known.values()}
    return Update(
        text=_with_devices(text, fitted, fresh) if fitted else text,
        added=tuple(one.device.id for one in fitted),
        unseen=tuple(one.id for one in profile.devices if one.id not in shown),
        remarks=(*refused.values(), *differences(profile, fresh, known)),
    )


def _why_not(entry: Entry, profile: Profile, text: str) -> str:
    """Why a device that the file lacks is nothing to add, as a sentence; "" where it is to be added."""
    place = entry.device.locations[0]
    called = f"{entry.device.function or 'device'} at {place}"
    if assumed_keyboard(entry.device.function, place) and any(one.function == "keyboard" for one in profile.devices):
        return (
            f"not added: {called}, which the kernel assumes on its PS/2 port without asking; the file has a keyboard,"
            " and this one would be missed in every unit that has no PS/2 keyboard."
        )
    if f", {place}: " in _left_out(text):
        return f"not added: {called}, which the file's comments leave out; delete that comment to have it added."
    return ""


_LEFT_OUT_HEADING = re.compile(r"# --- Left out\b")


def _left_out(text: str) -> str:
    """What stands in a file's comments under the headings of what was left out, as one line."""
    told: list[str] = []
    within = False
    for line in text.splitlines():
        if not line.startswith("#") or line.startswith("# ---"):
            within = bool(_LEFT_OUT_HEADING.match(line))
        elif within:
            told.append(line.lstrip("# ").rstrip())
    return " ".join(told) + " "


def _pairs(profile: Profile, fresh: Draft) -> dict[str, ExpectedDevice]:
    """By id in the draft, the device of the file that it is: by place, else the one without a place by function."""
    pairs: dict[str, ExpectedDevice] = {}
    for entry in fresh.entries:
        place = entry.device.locations[0]
        found = next((one for one in profile.devices if place in one.locations), None)
        if found is not None:
            pairs[entry.device.id] = found
    taken = {one.id for one in pairs.values()}
    for entry in fresh.entries:
        free = (one for one in profile.devices if not one.locations and one.id not in taken)
        found = next((one for one in free if one.function == entry.device.function), None)
        if entry.device.id not in pairs and found is not None:
            pairs[entry.device.id] = found
            taken.add(found.id)
    return pairs


_PLACE_IN_COMMENT = re.compile(r"^\s*#+\s*location\s*=\s*(.*)$", re.MULTILINE)
_TEXT = re.compile(r"[\"']([^\"']+)[\"']")


def _commented_places(text: str) -> set[str]:
    """Places in lines that a person has put a # before: they are not wanted."""
    return {place for written in _PLACE_IN_COMMENT.findall(text) for place in _texts(written)}


def _texts(written: str) -> list[str]:
    """The strings of a value as TOML has it, one or a list; of what is none, whatever stands in quotation marks."""
    try:
        value = tomllib.loads(f"it = {written}")["it"]
    except (ValueError, RecursionError):
        return _TEXT.findall(written)
    return [one for one in (value if isinstance(value, list) else [value]) if isinstance(one, str)]


def _is_turned_down(entry: Entry, places: set[str]) -> bool:
    return entry.device.locations[0] in places


@dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    """How the file says what the draft says."""

    profile: Profile
    fresh: Draft
    known: dict[str, ExpectedDevice]
    """By id in the draft: the device of the file."""
    ids: dict[str, str]
    """By id in the draft: the id in the file, of devices old and new."""

    def within(self, device: ExpectedDevice) -> str:
        """The subassembly of a new device: that of one that sits in the same place of the draft."""
        for one in self.fresh.entries:
            if one.device.id in self.known and one.device.within == device.within:
                return self.known[one.device.id].within
        own = [part.id for part in self.profile.parts if part.kind is PartKind.SUBASSEMBLY]
        return next((id_ for id_ in (device.within, "mainboard") if id_ in own), own[0])

    def needs(self, device: ExpectedDevice, there: set[str]) -> tuple[str, ...]:
        """What a new device depends on: the same as one that does so in the draft, else what the file has of it."""
        for one in self.fresh.entries:
            if one.device.id in self.known and one.device.needs == device.needs:
                return self.known[one.device.id].needs
        return tuple(id_ for need in device.needs if (id_ := self.ids.get(need, need)) in there)


def _fitted(new: Sequence[Entry], profile: Profile, fresh: Draft, known: dict[str, ExpectedDevice]) -> list[Entry]:
    """The new entries in the words of the file: its ids for parts and devices, and ids of their own that are free."""
    own = {one.id for ones in (profile.parts, profile.devices, profile.checks, profile.variants) for one in ones}
    taken = own | {part.id for part in fresh.parts}
    ids = {draft: device.id for draft, device in known.items()}
    for entry in new:
        ids[entry.device.id] = distinct(entry.device.id, taken)
        taken.add(ids[entry.device.id])
    words = _Words(profile=profile, fresh=fresh, known=known, ids=ids)
    there = {one.id for ones in (profile.parts, profile.devices) for one in ones}
    there |= {ids[entry.device.id] for entry in new if not entry.open}
    return [_in_words_of_file(entry, words, there) for entry in new]


def _in_words_of_file(entry: Entry, words: _Words, there: set[str]) -> Entry:
    within = words.within(entry.device)
    needs = words.needs(entry.device, there) or (within,)
    id_ = words.ids[entry.device.id]
    number = id_.removeprefix(entry.device.id).replace("-", " ")
    device = replace(entry.device, id=id_, name=f"{entry.device.name}{number}", within=within, needs=needs)
    return replace(entry, device=device, above=(_NEW, *entry.above))


_NEW = "Added by a later draft: correct name, within and needs."


def _with_devices(text: str, entries: Sequence[Entry], fresh: Draft) -> str:
    day = f", {fresh.date}" if fresh.date else ""
    said = comment(f"New in the capture of a later draft{day}:")
    block = [line for entry in entries for line in ("", *device_text(entry))]
    return _inserted(text, ["", *said, *block])


def _inserted(text: str, block: list[str]) -> str:
    """``block`` behind the last device's last line, or at the end where that cannot be told."""
    newline = "\r\n" if "\r\n" in text else "\n"
    lines = text.split("\n")
    at = _end_of_devices(text, lines)
    if at:
        candidate = _joined(lines[:at], block, lines[at:], newline)
        if _is_sound(candidate):
            return candidate
    return _joined([*lines[:-1], lines[-1]] if lines[-1] else lines[:-1], block, [""], newline)


def _joined(before: list[str], block: list[str], after: list[str], newline: str) -> str:
    inner = [line + newline[:-1] for line in block]
    return "\n".join([*before, *inner, *after])


def _is_sound(text: str) -> bool:
    try:
        tomllib.loads(text)
    except ValueError:
        return False
    return True


_NOTHING_SAID = re.compile(r"\s*(?:#.*)?\Z")


def _end_of_devices(text: str, lines: list[str]) -> int:
    """How many lines come before the end of the last device's table, comments behind it left out; 0 for none."""
    document = tomllib.loads(text)
    of = Lines(text).of
    starts = {
        (table, key): of((table, key)) for table, body in document.items() if isinstance(body, dict) for key in body
    }
    last = max((line for (table, _), line in starts.items() if table == "device"), default=0)
    bare = [of((table,)) for table, body in document.items() if isinstance(body, dict)]
    after = min((line for line in (*starts.values(), *bare) if line > last), default=len(lines) + 1)
    end = after - 1
    while end > last and _NOTHING_SAID.match(lines[end - 1]):
        end -= 1
    return end if last else 0
