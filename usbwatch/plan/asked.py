"""What is asked beside the hand checks of a profile, in words, by the id that an answer to it has."""

from __future__ import annotations

from usbwatch.localise.tried import ELSEWHERE, HELPER, MEASURE
from usbwatch.model.profile import Part, PartKind, Profile

__all__ = ["HELPERS", "question", "questions"]

HELPERS = {
    "audio": "headset",
    "bluetooth": "Bluetooth stick",
    "camera": "camera",
    "card-reader": "card reader",
    "keyboard": "keyboard",
    "mouse": "mouse",
    "storage": "memory stick",
}
"""By function, the helper device on USB that the same driver serves."""

_MEASURED = {
    PartKind.RAIL: "Measure {}: is it at its voltage, and free of a short to ground?",
    PartKind.LINK: "Measure {} from end to end, unplugged: does every line conduct, and none to its neighbour?",
}
_ELSEWHERE = "Try the unit's own {} in another unit of the model: does it do all its work there?"
_HELPER = "Plug an external USB {} in, and capture again: does it work?"


def question(id_: str, profile: Profile) -> str:
    """What a hand check asks, or an id such as ``measure:top-case-flex``; "" where there is no such question."""
    return questions(profile).get(id_, "")


def questions(profile: Profile) -> dict[str, str]:
    """All that can be answered about a unit of this profile, by id, in words."""
    found = {check.id: check.question for check in profile.checks}
    for part in profile.parts:
        found |= _of_part(part)
    return found | {f"{HELPER}{function}": _HELPER.format(noun) for function, noun in HELPERS.items()}


def _of_part(part: Part) -> dict[str, str]:
    if part.kind in _MEASURED:
        return {f"{MEASURE}{part.id}": _MEASURED[part.kind].format(part.name)}
    return {f"{ELSEWHERE}{part.id}": _ELSEWHERE.format(part.name)} if part.kind is PartKind.SUBASSEMBLY else {}
