"""What several expected devices all need, by the profile: the link, rail or hub that they share.

A part is named only on two grounds together: all that went need it, and
nothing that was seen to stay needs it. What proves that it stayed is a USB
device alone: its hub tells of a departure at once (USB 2.0, 11.24.2.7.2,
C_PORT_CONNECTION). A gauge, a lid or a PS/2 port goes on being named long
after its lines are open, so that it takes no part off the list.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from usbwatch.compare.scene import bus_of
from usbwatch.model import ExpectedDevice, Finding, Part, PartKind, Profile, Verdict

__all__ = ["Wiring", "carrier_of", "own_link", "shared", "tells_at_once", "wiring", "wiring_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """Whatever each expected device needs, by the profile."""

    parts: Mapping[str, Part]
    devices: Mapping[str, ExpectedDevice]
    """By id, in the profile's order: those that this unit should have."""
    needs: Mapping[str, tuple[str, ...]]
    """By id of a device: ids of the parts and devices that it depends on, host side first, each once."""


def wiring(profile: Profile, findings: Iterable[Finding]) -> Wiring:
    """The wiring among those devices of the profile that there is a finding of."""
    return wiring_of(profile, (finding.device for finding in findings))


def wiring_of(profile: Profile, ids: Iterable[str]) -> Wiring:
    """The wiring among those devices of the profile that are named by id."""
    expected = set(ids)
    parts = {part.id: part for part in profile.parts}
    devices = {device.id: device for device in profile.devices if device.id in expected}
    return Wiring(
        parts=parts,
        devices=devices,
        needs={one: tuple(dict.fromkeys(_closure(one, parts, devices, {one}))) for one in devices},
    )


def _closure(
    device: str, parts: Mapping[str, Part], devices: Mapping[str, ExpectedDevice], passed: set[str]
) -> Iterator[str]:
    """All that a device depends on, host side first; ``passed`` ends a ring. A need that is not fitted is left out."""
    for need in devices[device].needs:
        if need in parts:
            yield need
        elif need in devices and need not in passed:
            passed.add(need)
            yield from _closure(need, parts, devices, passed)
            yield need


def tells_at_once(device: ExpectedDevice, finding: Finding) -> bool:
    """Whether the device would be known to have left in the moment in which it does: see the head of this module."""
    place = finding.node.location if finding.node is not None else "".join(device.locations[:1])
    present = finding.verdict in (Verdict.PRESENT, Verdict.MOVED, Verdict.SUBSTITUTED, Verdict.IMPAIRED)
    return present and not finding.by_hand_alone and bus_of(place) == "usb"


def shared(went: tuple[str, ...], stayed: Iterable[str], wires: Wiring) -> tuple[str, ...]:
    """Ids of what all that ``went`` need and nothing that ``stayed`` needs, nearest to the lost ones first.

    One that went counts as needing itself, so that a hub is what it and its
    devices share. Nothing is shared where fewer than two went.
    """
    if len(went) < 2:  # noqa: PLR2004 - one device shares nothing
        return ()
    spared = {need for device in stayed for need in wires.needs[device]}
    farthest = max(went, key=lambda device: len(wires.needs[device]))
    reach = [{device, *wires.needs[device]} for device in went]
    candidates = (farthest, *reversed(wires.needs[farthest]))
    return tuple(one for one in candidates if one not in spared and all(one in each for each in reach))


def carrier_of(device: str, wires: Wiring) -> str:
    """Id of the nearest expected device that ``device`` needs, or ""."""
    return next((need for need in reversed(wires.needs[device]) if need in wires.devices), "")


def own_link(device: str, wires: Wiring) -> str:
    """Id of the nearest link that a device needs itself, and not what carries it; "" for none."""
    carried = set(wires.needs.get(carrier_of(device, wires), ()))
    return next(
        (
            need
            for need in reversed(wires.needs[device])
            if need in wires.parts and wires.parts[need].kind is PartKind.LINK and need not in carried
        ),
        "",
    )
