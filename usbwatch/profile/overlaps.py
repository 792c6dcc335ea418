"""Expected devices of which one node could be either: two that claim the same place, or the same name and no place.

A comparison gives each expected device a node of its own. Where one node fits
two of them and nothing tells them apart, one of the two is always told lost,
or the wrong one is: that is refused. Where an identity, or a device that is
not in every unit, may settle it, it is only told.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations, islice

from usbwatch.model import Profile
from usbwatch.profile.faults import SEARCHED, word

__all__ = ["Claim", "Overlap", "claims_in", "claims_of", "overlaps"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """What an expected device takes for itself."""

    id: str
    function: str
    locations: tuple[str, ...]
    identities: tuple[str, ...]
    always: bool
    """Every unit that has it is expected to show it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """Two devices that one node could stand for, the later one first."""

    device: str
    other: str
    key: str
    """``location``, ``identity`` or ``function``: the key of the later device that claims the same."""
    certain: bool
    """Nothing tells the two apart."""
    problem: str


def overlaps(claims: Iterable[Claim], lacking: Iterable[frozenset[str]] = ()) -> tuple[Overlap, ...]:
    """Every overlap, at most ``SEARCHED``; ``lacking`` has what each variant is without.

    Two devices of which each variant lacks one are never expected together.
    """
    variants = tuple(lacking)
    claims = tuple(claims)
    places = _grouped((place, claim) for claim in claims for place in dict.fromkeys(claim.locations))
    placeless = [claim for claim in claims if not claim.locations]
    functions = _grouped((claim.function, claim) for claim in placeless if claim.function)
    names = _grouped((name, claim) for claim in placeless for name in dict.fromkeys(claim.identities))
    found: dict[tuple[str, str], Overlap] = {}
    for rule, groups in ((_in_one_place, places), (_by_function, functions), (_by_identity, names)):
        for shared, group in groups.items():
            for one, other in islice(combinations(group, 2), SEARCHED):
                told = rule(one, other, shared) if _together(one, other, variants) else None
                if told is not None:
                    found.setdefault((one.id, other.id), told)
    return tuple(islice(found.values(), SEARCHED))


def _grouped(pairs: Iterable[tuple[str, Claim]]) -> dict[str, list[Claim]]:
    groups: dict[str, list[Claim]] = {}
    for key, claim in pairs:
        groups.setdefault(key, []).append(claim)
    return {key: group for key, group in groups.items() if len(group) > 1}


def _together(one: Claim, other: Claim, variants: tuple[frozenset[str], ...]) -> bool:
    return not variants or not all({one.id, other.id} & lacks for lacks in variants)


def _in_one_place(one: Claim, other: Claim, place: str) -> Overlap | None:
    only = set(one.locations) == set(other.locations) == {place}
    disjoint = one.identities and other.identities and not set(one.identities) & set(other.identities)
    if only and one.always and other.always:
        problem = f"{word(one.id)} is expected at the same place, and one node cannot be both; {_LEAVE_ONE}"
        return _overlap(one, other, "location", problem, certain=one.function == other.function)
    if disjoint or one.function != other.function:
        return None  # what is there says which it is
    if only:
        problem = f"{word(one.id)} claims this place and function too; give each identities that the other has not"
        return _overlap(one, other, "location", problem, certain=True)
    problem = f"{word(one.id)} may sit at {place} too; identities that the other has not would tell them apart"
    return _overlap(one, other, "location", problem, certain=False)


_LEAVE_ONE = "correct the place of one, or leave one out (what does two things is one device)"


def _by_function(one: Claim, other: Claim, _function: str) -> Overlap | None:
    mine, theirs = set(one.identities), set(other.identities)
    if mine == theirs:
        problem = (
            f"{word(one.id)} is told by the same function and {'the same identities' if mine else 'nothing else'}, so"
            " nothing says which of the two is lost; give each its location, or identities of its own"
        )
        return _overlap(one, other, "function", problem, certain=True)
    if mine and theirs and not mine & theirs:
        return None
    problem = f"{word(one.id)} has the same function and no place either; a location for each would tell them apart"
    return _overlap(one, other, "function", problem, certain=False)


def _by_identity(one: Claim, other: Claim, identity: str) -> Overlap | None:
    problem = f"{word(one.id)} claims {word(identity)} too, and neither has a place; a node is given to one of them"
    return _overlap(one, other, "identity", problem, certain=False)


def _overlap(one: Claim, other: Claim, key: str, problem: str, *, certain: bool) -> Overlap:
    return Overlap(device=other.id, other=one.id, key=key, certain=certain, problem=problem)


def claims_of(profile: Profile) -> Iterator[Claim]:
    """The claims of a profile's devices."""
    for device in profile.devices:
        yield Claim(
            id=device.id,
            function=device.function,
            locations=device.locations,
            identities=device.identities,
            always=not device.optional and not device.firmware_names,
        )


def claims_in(devices: dict[str, dict[str, object]]) -> Iterator[Claim]:
    """The claims of plain tables of devices; what has a place of the wrong shape claims nothing."""
    for name, device in devices.items():
        locations, function = _texts(device.get("location")), device.get("function")
        if locations or not device.get("location"):
            yield Claim(
                id=name,
                function=function if isinstance(function, str) else "",
                locations=locations,
                identities=_texts(device.get("identity")),
                always=not device.get("optional") and not device.get("firmware_names"),
            )


def _texts(value: object) -> tuple[str, ...]:
    listed = [value] if isinstance(value, str) else value if isinstance(value, list) else []
    return tuple(item for item in listed if isinstance(item, str))
