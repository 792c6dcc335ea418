"""What was learnt, in sentences: the same on the screen and in a profile's comments."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from usbwatch.drafting.learning.values import (
    Counted,
    Difference,
    LearntDevice,
    LearntVariant,
    Outlier,
    Standing,
    Support,
)
from usbwatch.drafting.naming import word_for
from usbwatch.model import Kind, Node

__all__ = [
    "FEWEST_UNITS",
    "basis_words",
    "called",
    "difference_words",
    "empty_port_words",
    "outlier_words",
    "place_words",
    "share_words",
    "source_words",
    "standing_words",
    "unseen_bus_words",
    "variant_words",
]

_MOST = 6
"""Values of one string that are named."""


def called(device: LearntDevice) -> str:
    """A device in words: what a technician calls it, and its usual place."""
    node = Node(bus=device.bus, location="", kind=Kind.DEVICE, rung=device.reaches)
    return f"{word_for(device.function, node)[0]} at {device.places[0].text}"


def share_words(support: Support) -> str:
    """``48 of 50 units (95 %: 0.87 to 0.99)``, and how many could not be seen."""
    unseen = f", {support.unseen} more could not be seen" if support.unseen else ""
    unseen += f", {support.unwell} more had one that was not healthy" if support.unwell else ""
    if not support.of:
        return f"no unit with a healthy one{unseen}"
    shared = f"{support.there} of {_counted_units(support.of)}"
    if support.of < FEWEST_UNITS:
        return f"{shared}{unseen}"
    return f"{shared} (95 %: {support.low:.2f} to {support.high:.2f}){unseen}"


FEWEST_UNITS = 5
"""With fewer, what was taken for granted decides more than what was counted, so no probability is given."""


def _counted_units(units: int) -> str:
    return "1 unit" if units == 1 else f"{units} units"


def basis_words(captures: int, units: int) -> str:
    """That few units tell little of a model, as a sentence without a full stop; "" where there are enough.

    Several captures of one unit are one unit, and that is said where there are some.
    """
    if not 0 < units < FEWEST_UNITS:
        return ""
    same = f"; these {captures} captures are of {_counted_units(units)}, by serial number" if captures > units else ""
    tells = "One unit tells nothing" if units == 1 else f"{units} units tell little"
    return f"{tells} of the model: what is below may be this one's alone; learn from ten units or more{same}"


def standing_words(device: LearntDevice) -> str:
    """What is said of a device, how many units stand behind it, and how sure it is."""
    said = {
        Standing.MANDATORY: "Every unit has it",
        Standing.VARIANT: f"Units with {_told(device.told_by, device.values)} have it",
        Standing.OPTIONAL: "Some units have it, and nothing tells which",
    }[device.standing]
    if device.support.of < FEWEST_UNITS:
        few = {Standing.MANDATORY: "Taken to be in every unit"}.get(device.standing, said)
        return f"{few}: seen in {share_words(device.support)}, which are too few to tell"
    return f"{said}: seen in {share_words(device.support)}; probability of this {_sure(device.support.sure)}"


def _sure(chance: float) -> str:
    return "above 0.999" if chance > 0.999 else f"{chance:.3f}"  # noqa: PLR2004 - as far as it is written


def _told(key: str, values: Sequence[str]) -> str:
    named = " or ".join(value or "(empty)" for value in values[:_MOST])
    more = f" or one of {len(values) - _MOST} others" if len(values) > _MOST else ""
    return f"{key} {named}{more}"


def place_words(device: LearntDevice) -> Iterator[str]:
    """Where it sits, for one with several places."""
    for one in device.places if len(device.places) > 1 else ():
        yield f"At {one.text} in {_units(one)}{_with(one)}"


def source_words(device: LearntDevice) -> Iterator[str]:
    """What it says it is, for one with several identities."""
    for one in device.identities if len(device.identities) > 1 else ():
        yield f"{one.text} in {_units(one)}"


def _units(one: Counted) -> str:
    return _counted_units(one.units)


def _with(one: Counted) -> str:
    return f", those with {_told(one.told_by, one.values)}" if one.told_by and one.values else ""


def variant_words(variant: LearntVariant, devices: Sequence[LearntDevice]) -> str:
    """How a variant is told, what it lacks, and how many units it was seen in."""
    told = " and ".join(_told(key, values) for key, values in variant.match.items())
    lacks = ", ".join(called(devices[number]) for number in variant.without)
    return f"{told}: {f'without {lacks}' if lacks else 'lacks none of these'} ({_counted_units(variant.units)})"


def difference_words(one: Difference, devices: Sequence[LearntDevice]) -> str:
    """What of a device differs by a version alone."""
    name = {"kernel": "kernel", "bios_version": "firmware"}[one.by]
    told = "; ".join(
        f"{name} {version or '(not told)'}: {found or 'none'} ({count})" for version, found, count in one.values
    )
    return f"{called(devices[one.device])}, {one.what} by {name} version: {told}"


def unseen_bus_words(bus: str) -> str:
    """A sentence without its full stop on a bus that no capture saw."""
    return f"{bus} was seen in no capture, so what shows there is not in the profile; capture again, as root"


def empty_port_words(port: Counted, learnt_units: int) -> str:
    """A port on which something should be, and in how many units nothing is there."""
    return (
        f"firmware says that something is wired to {port.text}, and nothing is there in {port.units} of"
        f" {_counted_units(learnt_units)}: another variant's part, or one that these have"
        " lost; make sure that they are good units"
    )


def outlier_words(one: Outlier) -> str:
    """Which capture was not taken as it is, and why."""
    return f"{one.name}, {one.kind.value}: {'; '.join(one.reasons)}"
