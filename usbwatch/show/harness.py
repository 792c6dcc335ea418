"""A unit as it comes apart on the bench: its subassemblies, and the links that hold each to the rest."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from usbwatch.model import ExpectedDevice, Part, PartKind, Profile

__all__ = ["Stub", "stubs"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stub:
    """One subassembly, what it carries, and what comes loose when it is taken off."""

    part: Part | None
    """None: for what the profile places in no subassembly."""
    links: tuple[Part, ...] = ()
    """The links towards the root of the harness; none at the root itself."""
    toward: Part | None = None
    """The subassembly at the other end of those links."""
    devices: tuple[ExpectedDevice, ...] = ()


def stubs(profile: Profile) -> tuple[Stub, ...]:
    """The profile's subassemblies in its own order, each with its links and devices."""
    subassemblies = {part.id: part for part in profile.parts if part.kind is PartKind.SUBASSEMBLY}
    toward = _toward(profile, subassemblies)
    homes = [_home(device.within, profile, subassemblies) for device in profile.devices]
    found = [
        Stub(
            part=part,
            links=_between(profile, part.id, toward.get(part.id, "")),
            toward=subassemblies.get(toward.get(part.id, "")),
            devices=tuple(device for device, home in zip(profile.devices, homes, strict=True) if home == part.id),
        )
        for part in subassemblies.values()
    ]
    homeless = tuple(device for device, home in zip(profile.devices, homes, strict=True) if not home)
    return (*found, Stub(part=None, devices=homeless)) if homeless else tuple(found)


def _home(within: str, profile: Profile, subassemblies: dict[str, Part]) -> str:
    """The subassembly that ``within`` is or lies in, or ""."""
    if within in subassemblies:
        return within
    return next((part.within for part in profile.parts if part.id == within and part.within in subassemblies), "")


def _between(profile: Profile, one: str, other: str) -> tuple[Part, ...]:
    return tuple(part for part in profile.parts if part.kind is PartKind.LINK and {one, other} == set(part.joins))


def _toward(profile: Profile, subassemblies: dict[str, Part]) -> dict[str, str]:
    """For each subassembly but the root, the neighbour that is nearer to the root.

    The root is the subassembly that most links meet at: in every clamshell the mainboard.
    """
    joins = [part.joins for part in profile.parts if part.kind is PartKind.LINK]
    meets = Counter(end for ends in joins for end in ends if end in subassemblies)
    if not meets:
        return {}
    toward: dict[str, str] = {}
    reached = [meets.most_common(1)[0][0]]
    for near in reached:
        for ends in joins:
            far = [end for end in ends if end != near and end in subassemblies]
            if near in ends and far and far[0] not in reached:
                toward[far[0]] = near
                reached.append(far[0])
    return toward
