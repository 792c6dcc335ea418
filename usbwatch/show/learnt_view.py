"""What was learnt from many captures, on the screen and as a JSON document."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from usbwatch.drafting.learning import Learnt, LearntDevice, OutlierKind, Standing
from usbwatch.drafting.learning.words import (
    FEWEST_UNITS,
    basis_words,
    called,
    difference_words,
    empty_port_words,
    outlier_words,
    place_words,
    share_words,
    source_words,
    unseen_bus_words,
    variant_words,
)
from usbwatch.show.json_values import Json, plain_value
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading
from usbwatch.show.words import counted

__all__ = ["learnt_document", "learnt_view"]

_SCHEMA = 1
_LONGEST = 400
_MOST = 12
"""Captures of one kind that are named on the screen; the JSON document has all."""


def learnt_document(learnt: Learnt) -> dict[str, Json]:
    """What was learnt as ``usbwatch-learnt``: all of it, with every outlier."""
    document = plain_value(learnt)
    assert isinstance(document, dict)
    return {"format": "usbwatch-learnt", "schema": _SCHEMA, **document}


def learnt_view(learnt: Learnt) -> list[Line]:
    """Devices and what stands behind each, variants, differences by version, captures that were not as the rest."""
    lines = [_head(learnt)]
    few = basis_words(learnt.captures, learnt.units)
    if few:
        lines.append(line(f"{few}.", hang=2))
    for standing, title in _TITLES.items():
        those = [one for one in learnt.devices if one.standing is standing]
        if those:
            lines += [*heading(title), *(each for one in those for each in _device(one, learnt.devices))]
    lines += _listed("Variants", [variant_words(one, learnt.devices) for one in learnt.variants])
    versions = [difference_words(one, learnt.devices) for one in learnt.differences]
    lines += _listed("Differs by version of firmware or kernel alone", versions)
    empty = [empty_port_words(one, learnt.units) for one in learnt.empty_ports]
    lines += _listed("Named by firmware, and in no unit", empty)
    lines += _listed("Seen by no capture", [unseen_bus_words(bus) for bus in learnt.unseen_buses])
    for kind in OutlierKind:
        named = [outlier_words(one) for one in learnt.outliers if one.kind is kind]
        lines += _listed(f"Captures: {kind.value}", named)
    return lines


_TITLES = {
    Standing.MANDATORY: "In every healthy unit",
    Standing.VARIANT: "In some variants",
    Standing.OPTIONAL: "In some units, and nothing tells which",
}


def _head(learnt: Learnt) -> Line:
    names = " ".join(texts[0][0] for key in ("sys_vendor", "product_name") if (texts := learnt.strings.get(key)))
    span = learnt.until if learnt.since == learnt.until else f"{learnt.since} to {learnt.until}"
    days = f", {span}" if learnt.until else ""
    counts = f"{counted(learnt.captures, 'capture')} of {counted(learnt.units, 'unit')}{days}"
    return line((safe(names or "A model without a name", 120), Style.STRONG), f": {counts}", hang=2)


def _device(device: LearntDevice, devices: Sequence[LearntDevice]) -> Iterator[Line]:
    few = device.support.of < FEWEST_UNITS
    sure = "" if few or device.support.sure >= _CERTAIN else f"; probability of this {device.support.sure:.2f}"
    yield line("  ", (safe(called(device), _LONGEST), Style.STRONG), f": {share_words(device.support)}{sure}", hang=4)
    told = [*place_words(device), *source_words(device)]
    if device.standing is Standing.VARIANT:
        told.insert(0, f"told by {device.told_by}: {', '.join(device.values)}")
    if device.goes_with:
        told.append(f"goes with {', '.join(called(devices[number]) for number in device.goes_with)}")
    if device.doubt:
        told.append(device.doubt)
    if not device.inside:
        told.append("nothing says that it is inside the unit: make sure that it is no device of your own")
    yield from (line(f"    {safe(one, _LONGEST)}", hang=6) for one in told)


_CERTAIN = 0.99


def _listed(title: str, sentences: Sequence[str]) -> list[Line]:
    if not sentences:
        return []
    more = len(sentences) - _MOST
    lines = [line(f"  {safe(one, _LONGEST)}", hang=4) for one in sentences[:_MOST]]
    rest = [line(f"  and {more} more (--json has all)")] if more > 0 else []
    return [*heading(title), *lines, *rest]
