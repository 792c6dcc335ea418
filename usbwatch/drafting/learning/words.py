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

__all__ = [
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
    """A device in words: what it does, and its usual place."""
    return f"{device.function or 'device without a known function'} at {device.places[0].text}"


def share_words(support: Support) -> str:
    """``48 of 50 units (95 %: 0.87 to 0.99)``, and how many could not be seen."""
    unseen = f", {support.unseen} more could not be seen" if support.unseen else ""
    unseen += f", {support.unwell} more had one that was not healthy" if support.unwell else ""
    return f"{support.there} of {support.of} units (95 %: {support.low:.2f} to {support.high:.2f}){unseen}"


def standing_words(device: LearntDevice) -> str:
    """What is said of a device, how many units stand behind it, and how sure it is."""
    said = {
        Standing.MANDATORY: "Every unit has it",
        Standing.VARIANT: f"Units with {_told(device.told_by, device.values)} have it",
        Standing.OPTIONAL: "Some units have it, and nothing tells which",
    }[device.standing]
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
    return f"{one.units} unit" if one.units == 1 else f"{one.units} units"


def _with(one: Counted) -> str:
    return f", those with {_told(one.told_by, one.values)}" if one.told_by and one.values else ""


def variant_words(variant: LearntVariant, devices: Sequence[LearntDevice]) -> str:
    """How a variant is told, what it lacks, and how many units it was seen in."""
    told = " and ".join(_told(key, values) for key, values in variant.match.items())
    lacks = ", ".join(called(devices[number]) for number in variant.without)
    return f"{told}: {f'without {lacks}' if lacks else 'lacks none of these'} ({variant.units} units)"


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
        f" {learnt_units} {'unit' if learnt_units == 1 else 'units'}: another variant's part, or one that these have"
        " lost; make sure that they are good units"
    )


def outlier_words(one: Outlier) -> str:
    """Which capture was not taken as it is, and why."""
    return f"{one.name}, {one.kind.value}: {'; '.join(one.reasons)}"
