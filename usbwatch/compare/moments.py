"""What left in the same moment of a watch, and what stayed through it, by the rule that a check has for it, too.

Live, an incident is told before it can be known what leaves next. When the
watch has ended it is known: departures within ``TOGETHER_MS`` of the first of
them are one moment, and nothing that left as near to one is said to have stayed.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from usbwatch.compare.scene import bus_of
from usbwatch.compare.shared_parts import Wiring, shared, wiring_of
from usbwatch.compare.watched_devices import TOGETHER_MS
from usbwatch.model import Change, Condition, ExpectedDevice, Incident, Profile, Standing

__all__ = ["moments", "times_left", "times_with_hub"]

_LEFT = (Change.GONE, Change.MUTE)
_AWAY = frozenset({Condition.GONE, Condition.NOT_WATCHED, Condition.FAILED, Condition.OFFLINE})


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """What is asked for every moment."""

    profile: Profile
    standings: Sequence[Standing]
    departures: Mapping[str, Sequence[int]]
    """By device, when it left, in order."""
    wires: Wiring


def moments(incidents: Iterable[Incident], standings: Sequence[Standing], profile: Profile) -> list[Incident]:
    """Each moment in which expected devices left, as one incident of all that left in it, in order.

    ``stayed_on_link`` and, where several incidents make a moment, ``shared`` are those of the whole moment.
    """
    left = _departed(incidents)
    wires = wiring_of(profile, [one.device for one in standings])
    told = _Told(profile=profile, standings=standings, departures=_departures(left), wires=wires)
    return [_merged(group, told) for group in _groups(left)]


def times_left(incidents: Iterable[Incident]) -> int:
    """In how many moments an expected device left its place."""
    return sum(any(one.change is Change.GONE for one in group) for group in _groups(_departed(incidents)))


def _departed(incidents: Iterable[Incident]) -> list[Incident]:
    told = (one for one in incidents if one.devices and one.change in _LEFT)
    return sorted(told, key=lambda one: one.at_ms)


def times_with_hub(device: str, incidents: Iterable[Incident], profile: Profile) -> dict[str, int]:
    """How often a device left with a hub that took it along, by the hub's id."""
    at = {place: one.id for one in profile.devices for place in one.locations}
    found: dict[str, int] = {}
    for one in incidents:
        hub = at.get(one.head, "") if one.head and one.change is Change.GONE else ""
        if hub and hub != device and device in one.devices:
            found[hub] = found.get(hub, 0) + 1
    return found


def _groups(left: Sequence[Incident]) -> Iterator[list[Incident]]:
    group: list[Incident] = []
    for one in left:
        if group and one.at_ms > group[0].at_ms + TOGETHER_MS:
            yield group
            group = []
        group.append(one)
    if group:
        yield group


def _departures(left: Iterable[Incident]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for one in left:
        for device in one.devices:
            found.setdefault(device, []).append(one.at_ms)
    return found


def _left_near(device: str, at_ms: int, departures: Mapping[str, Sequence[int]]) -> bool:
    times = departures.get(device, ())
    return bisect_left(times, at_ms - TOGETHER_MS) < bisect_right(times, at_ms + TOGETHER_MS)


def _merged(group: Sequence[Incident], told: _Told) -> Incident:
    first = next((one for one in group if one.head), group[0])
    gone = {device for one in group for device in one.devices}
    devices = tuple(one.id for one in told.profile.devices if one.id in gone)
    at_ms = group[0].at_ms
    stayed = tuple(
        one for one in first.stayed_on_link if one not in gone and not _left_near(one, at_ms, told.departures)
    )
    first = replace(first, at_ms=at_ms, stayed_on_link=stayed)
    if devices == first.devices:
        return first
    return _of_several(replace(first, devices=devices, own_link="", stayed_on_link=()), told)


def _of_several(one: Incident, told: _Told) -> Incident:
    wires = told.wires
    heads = {each.id for each in told.profile.devices if one.head and one.head in each.locations}
    hung = all(device in heads or heads & set(wires.needs.get(device, ())) for device in one.devices)
    here = [
        standing.device
        for standing in told.standings
        if _tells(wires.devices.get(standing.device))
        and standing.device not in one.devices
        and not _left_near(standing.device, one.at_ms, told.departures)
        and _was_there(standing, one.at_ms)
    ]
    known = tuple(device for device in one.devices if device in wires.devices)
    return replace(one, head=one.head if hung else "", shared=shared(known, here, wires))


def _tells(device: ExpectedDevice | None) -> bool:
    """Whether a device would be known to have left at once: on USB alone (``usbwatch.compare.shared_parts``)."""
    return device is not None and any(bus_of(place) == "usb" for place in device.locations[:1])


def _was_there(standing: Standing, at_ms: int) -> bool:
    place = bisect_right(standing.spells, at_ms, key=lambda spell: spell.from_ms) - 1
    condition = standing.spells[place].condition if place >= 0 else standing.condition
    return condition not in _AWAY
