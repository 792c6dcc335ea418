"""Sound, cameras and radios: what the kernel made of the parts that carry them.

HD-audio codecs exist only when they answered a link reset
(sound/hda/hdac_sysfs.c); the rest are class nodes that a bound driver made.
"""

from __future__ import annotations

import re
from typing import Iterator

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Kind, Node, Rung

__all__ = [
    "BLUETOOTH_FOLDER",
    "HDAUDIO_FOLDER",
    "NET_FOLDER",
    "RFKILL_FOLDER",
    "SOUND_FOLDER",
    "VIDEO_FOLDER",
    "bluetooth_nodes",
    "hdaudio_nodes",
    "net_nodes",
    "rfkill_nodes",
    "sound_nodes",
    "video_nodes",
]

BLUETOOTH_FOLDER = "sys/class/bluetooth"
HDAUDIO_FOLDER = "sys/bus/hdaudio/devices"
NET_FOLDER = "sys/class/net"
RFKILL_FOLDER = "sys/class/rfkill"
SOUND_FOLDER = "sys/class/sound"
VIDEO_FOLDER = "sys/class/video4linux"

_CARD = re.compile(r"card\d+\Z")
_RADIO = re.compile(r"hci\d+\Z")


def _function(bus: str, location: str, function: str, name: str = "") -> Node:
    return Node(
        bus=bus,
        location=location,
        kind=Kind.FUNCTION,
        rung=Rung.WORKING,
        name=name,
        functions=(function,) if function else (),
    )


def sound_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every sound card."""
    for name in sight.entries(SOUND_FOLDER):
        if _CARD.match(name):
            folder = sight.real(f"{SOUND_FOLDER}/{name}")
            yield _function("sound", places.of(folder), "audio", sight.text(folder, "id"))


def hdaudio_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every HD-audio codec that answered."""
    for name in sight.entries(HDAUDIO_FOLDER):
        folder = sight.real(f"{HDAUDIO_FOLDER}/{name}")
        driver = sight.points_to(folder, "driver")
        yield Node(
            bus="hdaudio",
            location=places.of(folder),
            kind=Kind.DEVICE,
            rung=Rung.WORKING if driver else Rung.IDENTIFIED,
            identity=sight.text(folder, "vendor_id"),
            name=" ".join(filter(None, (sight.text(folder, "vendor_name"), sight.text(folder, "chip_name")))),
            functions=("audio",),
            driver=driver,
            facts=sight.facts(folder, "subsystem_id", "revision_id"),
        )


def net_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every network interface of hardware; ``wlan`` when it has a wireless part."""
    for name in sight.entries(NET_FOLDER):
        folder = sight.real(f"{NET_FOLDER}/{name}")
        if folder.startswith("sys/devices/virtual/") or not folder.startswith("sys/devices/"):
            continue
        wireless = "phy80211" in sight.names(folder)
        yield Node(
            bus="net",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.WORKING,
            functions=("wlan",) if wireless else ("ethernet",),
            facts=sight.facts(folder, "address"),
        )


def bluetooth_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every Bluetooth controller."""
    for name in sight.entries(BLUETOOTH_FOLDER):
        if _RADIO.match(name):
            yield _function("bluetooth", places.of(sight.real(f"{BLUETOOTH_FOLDER}/{name}")), "bluetooth")


def rfkill_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every radio switch (Documentation/ABI/stable/sysfs-class-rfkill)."""
    for name in sight.entries(RFKILL_FOLDER):
        folder = sight.real(f"{RFKILL_FOLDER}/{name}")
        yield Node(
            bus="rfkill",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.BOUND,
            name=sight.text(folder, "name"),
            facts={**sight.facts(folder, "type"), **sight.numbers(folder, "hard", "soft")},
        )


def video_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every video capture node."""
    for name in sight.entries(VIDEO_FOLDER):
        folder = sight.real(f"{VIDEO_FOLDER}/{name}")
        if not folder.startswith("sys/devices/virtual/"):
            yield _function("video", places.of(folder), "camera", sight.text(folder, "name"))
