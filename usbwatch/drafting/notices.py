"""What a draft rests on that a good and whole capture would not show: said to whoever drafts, never kept back."""

from __future__ import annotations

from collections.abc import Iterator

from usbwatch.compare import findings
from usbwatch.compare.bare_list import is_bare_list
from usbwatch.drafting.census import Census, Resident
from usbwatch.drafting.draft import Draft
from usbwatch.drafting.wellness import stopped
from usbwatch.model import Capture, Finding, Profile, Symptom, Verdict
from usbwatch.safe import safe

__all__ = ["notices"]

_BUSES = ("usb", "pci", "acpi", "power_supply", "i2c", "drm", "dmi", "log")
"""Buses of which a draft lacks something when they could not be seen; no laptop is without them."""

_MOST = 12
"""How many notices of one kind are given."""


def notices(
    capture: Capture, made: Draft, profile: Profile, counted: Census, *, into: Profile | None = None
) -> tuple[str, ...]:
    """Sentences on what the draft rests on, each on one line; ``profile`` is the draft, written and read.

    ``into`` is the profile that the draft is to be worked into, None for a new file.
    """
    listed = is_bare_list(capture)
    return (
        *([] if into is None else _not_as_in(into, capture)),
        *_of_the_look(capture),
        *_limited([] if listed else list(_unseen(capture))),
        *_limited(list(_troubles(capture))),
        *_limited(
            [_unwell(one, profile) for one in findings(capture, profile, insisted=True).findings if _is_unwell(one)]
        ),
        *_limited([_part_way(one) for one in counted.residents if _stopped(one) and not listed]),
        *_of_the_census(made, counted, new_file=into is None),
    )


def _not_as_in(profile: Profile, capture: Capture) -> Iterator[str]:
    """That a unit lacks what its own profile expects of a healthy one."""
    names = {one.id: one.name for one in profile.devices}
    lost = [
        names.get(one.device, one.device)
        for one in findings(capture, profile).findings
        if one.verdict is Verdict.MISSING
    ]
    if lost:
        shown = safe(", ".join(lost[:_MOST]), 1000) + (f" and {len(lost) - _MOST} more" if len(lost) > _MOST else "")
        yield (
            f"This unit is not as the profile says: {shown} missing. It is no good unit to draft from; if the profile"
            " is right, take a healthy one."
        )


def _limited(told: list[str]) -> list[str]:
    rest = len(told) - _MOST
    return told if rest <= 0 else [*told[:_MOST], f"And {rest} more of this kind."]


def _of_the_look(capture: Capture) -> Iterator[str]:
    if capture.system.virtual:
        yield f"This is an emulated machine ({safe(capture.system.virtual)}); the draft holds emulated parts."
    if is_bare_list(capture):
        yield (
            "This capture is the system's own list of USB devices: the draft holds nothing of any other bus, and its"
            " places name no controller; capture under Linux for a whole one."
        )


def _unseen(capture: Capture) -> Iterator[str]:
    coverage = {one.bus: one for one in capture.coverage}
    for bus in _BUSES:
        one = coverage.get(bus)
        if one is not None and one.state.seen:
            continue
        what = "the kernel's log" if bus == "log" else bus
        why = f" ({safe(one.why)})" if one is not None and one.why else ""
        root = "; capture again as root" if one is not None and one.root_would_help else ""
        yield f"This capture did not see {what}{why}, so what shows there is not in the draft{root}."


def _troubles(capture: Capture) -> Iterator[str]:
    for one in capture.episodes:
        where = f" at {safe(one.location)}" if one.location else f" ({safe(one.subject)})" if one.subject else ""
        yield f"The kernel's log tells of trouble{where}: {safe(one.trouble)}. Is this a good unit?"


def _is_unwell(one: Finding) -> bool:
    return one.verdict not in (Verdict.PRESENT, Verdict.UNSEEN) or (
        one.verdict is Verdict.UNSEEN and not one.by_hand_alone and one.symptom is Symptom.UNSEEN
    )


def _unwell(one: Finding, profile: Profile) -> str:
    name = next((device.name for device in profile.devices if device.id == one.device), one.device)
    reason = f": {safe(one.reasons[0])}" if one.reasons else ""
    return f"{safe(name)} is not as in a good unit, {one.verdict.value}{reason}."


def _stopped(one: Resident) -> bool:
    return stopped(one.node.bus, one.function, one.node.rung)


def _part_way(one: Resident) -> str:
    return (
        f"The {safe(one.function)} at {safe(one.node.location)} got no further than {one.node.rung.value}, and the"
        " draft takes that for healthy: is its driver there, and is this a good unit?"
    )


def _of_the_census(made: Draft, counted: Census, *, new_file: bool) -> Iterator[str]:
    doubted = sum(not one.sure for one in counted.residents)
    if doubted:
        yield (
            f"Of {doubted} {'device' if doubted == 1 else 'devices'} nothing says whether the port is a socket: unplug"
            " your own devices and capture again, or take them out of the draft."
        )
    unknown = sum(one.open for one in made.entries)
    if unknown and new_file:
        has = "device has no known function and stands" if unknown == 1 else "devices have no known function and stand"
        yield f"{unknown} {has} as comments."
    if counted.unfitted:
        written = " (they stand as comments)" if new_file else f": {_where(counted)}"
        yield (
            f"Firmware names {len(counted.unfitted)} more, and nothing was found of it: a variant's part, or one that"
            f" this unit has lost{written}."
        )
    yield from (one for one in made.match_remarks if one.startswith("Not used"))
    if not made.match.strings:
        yield "Nothing that firmware says names the model, so the profile is used only when it is named."


def _where(counted: Census) -> str:
    shown = "; ".join(f"{one.what}, {one.where}" for one in counted.unfitted[:_MOST])
    return shown if len(counted.unfitted) <= _MOST else f"{shown}; and {len(counted.unfitted) - _MOST} more"
