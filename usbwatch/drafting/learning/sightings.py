"""One capture, reduced to what learning asks of it: the devices at their places, what could be seen, and which unit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from usbwatch.compare.bare_list import is_bare_list
from usbwatch.compare.clients import is_client
from usbwatch.compare.scene import Scene, scene
from usbwatch.compare.serials import is_serial
from usbwatch.drafting.census import Census, LeftOut, Resident, census
from usbwatch.drafting.learning.vision import Vision, vision
from usbwatch.drafting.wellness import mute_gauge
from usbwatch.model import Capture, Node
from usbwatch.profile.days import day_of

__all__ = ["STRINGS", "Manner", "Role", "Sighting", "Thing", "kernel_series", "sighting"]

STRINGS = (
    "sys_vendor",
    "product_name",
    "product_version",
    "product_sku",
    "product_family",
    "board_vendor",
    "board_name",
    "board_version",
    "bios_version",
    "chassis_type",
)
"""Strings of a unit that say what it is; its serial number says which one it is."""

_LONGEST = 120
"""Letters of a text that are kept: a profile holds no more of one."""

MOST_DEVICES = 400
"""Devices in one capture. No unit has so many, and no profile can hold more."""


class Role(Enum):
    """What a capture's own census made of a node."""

    INSIDE = "inside"
    UNSURE = "unsure"
    """Kept, but nothing says that it is inside."""
    SPOKEN_FOR = "spoken for"
    """Left out, because another node of the same unit stands for it or because it is no part of its own."""
    OUTSIDE = "outside"
    """A helper device."""


class Thing(NamedTuple):
    """What stands at one place: the same in all captures that have it."""

    bus: str
    place: str
    identity: str


class Manner(NamedTuple):
    """How it showed in one capture. Most captures share a few."""

    role: Role
    function: str
    evidence: str
    name: str
    driver: str
    rung: str
    speed_mbps: int
    """0: not known, as in the next two."""
    lanes: int
    link_gts: float
    lid: bool
    mute: bool
    """It is a battery whose gauge does not talk."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One capture, small enough that thousands can be held."""

    things: tuple[tuple[Thing, Manner], ...]
    vision: Vision
    texts: tuple[str, ...]
    """As in ``STRINGS``, then the kernel's series."""
    serial: str
    """Serial number of the unit; "" where none was read that names one unit."""
    day: str
    troubles: tuple[str, ...]
    """What the kernel's log tells of trouble at a place, one phrase each."""
    useless: str = ""
    """Why nothing can be learnt from it, as a phrase; "" where something can."""


def sighting(capture: Capture) -> Sighting:
    """What a capture shows; never raises for what stands in one."""
    seen = scene(capture)
    counted = census(capture, declared=False)
    things = tuple(_things(counted, seen))
    texts = (*(_cut(getattr(capture.unit, key)) for key in STRINGS), kernel_series(capture.system.kernel))
    return Sighting(
        things=things[:MOST_DEVICES],
        vision=vision(seen),
        texts=texts,
        serial=_serial(capture.unit.product_serial),
        day=day_of(capture.taken_at),
        troubles=_troubles(capture),
        useless=_useless(capture, things),
    )


_MOST_TROUBLES = 8


def _troubles(capture: Capture) -> tuple[str, ...]:
    told = {f"{one.trouble} at {one.location}" for one in capture.episodes if one.location}
    return tuple(sorted(told)[:_MOST_TROUBLES])


def _useless(capture: Capture, things: tuple[tuple[Thing, Manner], ...]) -> str:
    if is_bare_list(capture):
        return "it is the system's own list of USB devices, which tells no places; capture under Linux"
    if len(things) > MOST_DEVICES:
        return f"it holds {len(things)} devices, more than any laptop has"
    if not any(manner.role in (Role.INSIDE, Role.UNSURE) for _, manner in things):
        return "it shows no device"
    return ""


def kernel_series(kernel: str) -> str:
    """The part of a kernel's version that tells which drivers it has: ``6.1`` of ``6.1.0-18-amd64``."""
    shape = re.match(r"\d{1,3}\.\d{1,3}", kernel, re.ASCII)
    return shape.group() if shape else _cut(kernel)


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else text[:_LONGEST]


_NO_SERIAL = re.compile(
    r"(?:default|to be filled|system serial|not |none|n/a|oem|invalid|unknown|serial)", re.IGNORECASE
)
_FEWEST_SIGNS = 3


def _serial(text: str) -> str:
    """A serial number that names one unit: not a text that a maker forgot to replace (common practice, no source)."""
    plain = _cut(text.strip())
    placeholder = _NO_SERIAL.match(plain) or not is_serial(plain)
    return "" if placeholder or len(set(plain)) < _FEWEST_SIGNS else plain


def _things(counted: Census, seen: Scene) -> Iterator[tuple[Thing, Manner]]:
    for one in counted.residents:
        lid = "yes" in (one.node.facts.get("lid"), _port_fact(seen, one.node.location))
        yield _thing(one.node), _resident(one, lid=lid, mute=mute_gauge(one.node, seen))
    for left in counted.left_out:
        if left.outside or not _is_nothing(left):
            yield _thing(left.node), _left(left)


def _port_fact(seen: Scene, place: str) -> object:
    port = seen.ports.get(place)
    return port.facts.get("lid") if port is not None else None


_OF_THE_BOARD = frozenset({"pci", "hwmon", "iio"})


def _is_nothing(left: LeftOut) -> bool:
    """Left out for what it is, in every capture alike; or a client of which nothing was told."""
    node = left.node
    return node.bus in _OF_THE_BOARD or is_client(node) or node.location.startswith("virtual/")


def _thing(node: Node) -> Thing:
    return Thing(node.bus, node.location, _cut(node.identity))


def _resident(one: Resident, *, lid: bool, mute: bool) -> Manner:
    node = one.node
    kbps = node.facts.get("speed_kbps")
    fast = isinstance(kbps, int) and _SLOWEST <= kbps <= _FASTEST and node.bus in ("usb", "block")
    lanes, gts = _link(node)
    return Manner(
        role=Role.INSIDE if one.sure else Role.UNSURE,
        function=one.function,
        evidence=one.evidence[: 2 * _LONGEST],
        name=_cut(node.name),
        driver=_cut(node.driver),
        rung=node.rung.value,
        speed_mbps=kbps // 1000 if fast and isinstance(kbps, int) else 0,
        lanes=lanes,
        link_gts=gts,
        lid=lid,
        mute=mute,
    )


_SLOWEST, _FASTEST = 12_000, 1_000_000_000
"""kbit/s: below full speed no port falls, and above the other no link is known."""
_LANES = re.compile(r"[1-9]\d?", re.ASCII)
_GTS = re.compile(r"(\d{1,3}(?:\.\d)?) GT/s", re.ASCII)
_WIDEST = 32


def _link(node: Node) -> tuple[int, float]:
    """Lanes and GT/s of a PCI Express link; 0 where it is not told, as of a function that sleeps."""
    width = str(node.facts.get("current_link_width", ""))
    lanes = int(width) if node.bus == "pci" and _LANES.fullmatch(width) else 0
    speed = _GTS.match(str(node.facts.get("current_link_speed", "")))
    return (lanes, float(speed.group(1)) if speed else 0.0) if 0 < lanes <= _WIDEST else (0, 0.0)


def _left(left: LeftOut) -> Manner:
    role = Role.OUTSIDE if left.outside else Role.SPOKEN_FOR
    return Manner(
        role, "", "", _cut(left.node.name) if left.outside else "", "", left.node.rung.value, 0, 0, 0.0, False, False
    )
