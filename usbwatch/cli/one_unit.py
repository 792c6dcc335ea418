"""Several captures of one unit: whether they can be that, and whether they are in the order of time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING

from usbwatch.cli.screen import say

if TYPE_CHECKING:
    from usbwatch.model import UnitStrings
    from usbwatch.show import Seen

__all__ = ["MODEL", "MODEL_AND_SERIAL", "difference", "refuse_other_units", "tell_of_order"]

MODEL = {"sys_vendor": "maker", "product_name": "model"}
MODEL_AND_SERIAL = MODEL | {"product_serial": "serial"}
"""What one unit keeps; firmware has it from the board, so a board that was put in may bring its own serial."""


def refuse_other_units(seen: Sequence[Seen]) -> None:
    """Raise ``BadCapture`` when two captures are of different models or units.

    What a capture could not read is not compared: without root some strings are missing.
    """
    from usbwatch.errors import BadCapture

    for before, after in pairwise(seen):
        fields = MODEL if _has_new_part(after) else MODEL_AND_SERIAL
        told = difference(before.capture.unit, after.capture.unit, fields)
        if told:
            remedy = "give captures of one unit" if "serial" not in told else _REMEDY
            raise BadCapture(after.path, f"is of another unit than {before.path} ({told})", remedy)


_REMEDY = "give captures of one unit, or say with --did which board was put in between"


def _has_new_part(seen: Seen) -> bool:
    from usbwatch.model import StepKind

    return any(step.kind in (StepKind.SWAP, StepKind.FIT, StepKind.BACK) for step in seen.steps)


def difference(
    one: UnitStrings, other: UnitStrings, fields: Mapping[str, str] = MappingProxyType(MODEL_AND_SERIAL)
) -> str:
    """The first string that both have and that differs, in words; "" when none does."""
    for name, word in fields.items():
        first, second = getattr(one, name).strip(), getattr(other, name).strip()
        if first and second and first.casefold() != second.casefold():
            return f"{word} {first!r} there, {second!r} here"
    return ""


def tell_of_order(seen: Sequence[Seen]) -> None:
    """Say so when a capture was taken before the one that is given before it."""
    from usbwatch.profile import shown_path

    for before, after in pairwise(seen):
        if after.capture.taken_at and _moment(after) < _moment(before):
            later, earlier = shown_path(after.path), shown_path(before.path)
            say(f"usbwatch: {later} was taken before {earlier}; they are read in the order given.")


def _moment(seen: Seen) -> float:
    from datetime import datetime

    try:
        return datetime.fromisoformat(seen.capture.taken_at).timestamp()
    except (ValueError, OverflowError):
        return 0.0
