"""The evidence that matters, quoted as it was read."""

from __future__ import annotations

from collections.abc import Iterator

from usbwatch.model import Declaration, DeclaredState, Episode, Finding, Node, Verdict, hangs_on
from usbwatch.show.checked import Checked
from usbwatch.show.report.value import Quote
from usbwatch.show.safe import safe
from usbwatch.show.watched_view import mark_words, watched_in_short
from usbwatch.show.words import trouble_words

__all__ = ["quotes"]

_MOST = 24
_LONGEST = 300
_FACTS = 6


def quotes(checked: Checked) -> tuple[Quote, ...]:
    """What watching showed, and some two dozen at most of the log's lines, of attributes, and of firmware's words."""
    found = [*_of_log(checked), *_of_nodes(checked), *_of_firmware(checked)]
    return (*_of_watches(checked), *tuple(dict.fromkeys(found))[:_MOST])


_MARKS = 4


def _of_watches(checked: Checked) -> Iterator[Quote]:
    """What watching the unit came to, and what a person marked in the course of it."""
    told = watched_in_short(checked.capture, checked.findings, checked.profile)
    if told:
        yield Quote(about="Unit", text=safe(told, _LONGEST), source="live watch")
    marks = [mark for watch in checked.capture.watches for mark in watch.marks]
    for mark in marks[:_MARKS]:
        yield Quote(about="Unit", text=safe(mark_words(mark), _LONGEST), source="live watch")


def _of_log(checked: Checked) -> Iterator[Quote]:
    for episode in checked.capture.episodes:
        about = _about(episode, checked)
        for text in episode.lines[:1] + episode.lines[-1:]:
            yield Quote(about=about, text=safe(text, _LONGEST), source="kernel log")


def _about(episode: Episode, checked: Checked) -> str:
    near = [
        (len(place), device.name)
        for device in checked.profile.devices
        for place in device.locations
        if place == episode.location or hangs_on(episode.location, place)
    ]
    return safe(max(near)[1], 60) if near else trouble_words(episode)


def _of_nodes(checked: Checked) -> Iterator[Quote]:
    """What the kernel has of a device that is there and not well."""
    names = {device.id: safe(device.name, 60) for device in checked.profile.devices}
    for finding in checked.findings.findings:
        if finding.verdict in (Verdict.IMPAIRED, Verdict.SUBSTITUTED, Verdict.MOVED) and finding.node is not None:
            yield from _facts(finding, names[finding.device], _supplies(finding, checked))


def _supplies(finding: Finding, checked: Checked) -> list[Node]:
    """What the kernel's power supply class has of a pack: its readings stand there."""
    node = finding.node
    return [
        one
        for one in checked.capture.nodes
        if one.bus == "power_supply" and node is not None and hangs_on(one.location, node.location)
    ]


def _facts(finding: Finding, about: str, beside: list[Node]) -> Iterator[Quote]:
    node = finding.node
    assert node is not None
    if node.identity:
        yield Quote(about=about, text=safe(f"identity: {node.identity} {node.name}".strip(), _LONGEST), source=node.bus)
    for one in (node, *beside):
        for name, value in sorted(one.facts.items(), key=_telling)[:_FACTS]:
            yield Quote(about=about, text=safe(f"{name}: {value}", _LONGEST), source=safe(one.bus, 20))


_FIRST = (
    *("status", "present", "voltage_now", "charge_full", "energy_full", "charge_now", "energy_now", "cycle_count"),
    *("speed_kbps", "speed_mbps", "speed", "current_link_speed", "current_link_width", "max_link_speed"),
)
"""Attributes that a judgement most often rests on, in the kernel's own names."""


def _telling(fact: tuple[str, object]) -> tuple[int, str]:
    name = fact[0]
    return (_FIRST.index(name) if name in _FIRST else len(_FIRST), name)


def _of_firmware(checked: Checked) -> Iterator[Quote]:
    for one in checked.findings.declared:
        if one.state is DeclaredState.NOT_FOUND:
            yield Quote(about=safe(one.what, 60), text=_said(one), source="firmware")


def _said(one: Declaration) -> str:
    because = f": {one.because}" if one.because else ""
    return safe(f"{one.said_by}; {one.state.value}{because}", _LONGEST)
