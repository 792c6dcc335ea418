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
    """Every sound card; its ``id`` is left out, for of two alike it follows the order of plugging."""
    for name, folder in sight.devices(SOUND_FOLDER):
        if _CARD.match(name):
            yield _function("sound", places.of(folder), "audio")


def hdaudio_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every HD-audio codec that answered."""
    for _, folder in sight.devices(HDAUDIO_FOLDER):
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
    for _, folder in sight.devices(NET_FOLDER):
        yield Node(
            bus="net",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.WORKING,
            functions=(_kind_of_network(sight, folder),),
            facts=sight.facts(folder, "address"),
        )


def _kind_of_network(sight: Sight, folder: str) -> str:
    """``wlan`` with a wireless part, ``wwan`` for a modem (``DEVTYPE=wwan``, drivers/net/usb/cdc_mbim.c)."""
    if "phy80211" in sight.names(folder):
        return "wlan"
    return "wwan" if "DEVTYPE=wwan" in sight.text(folder, "uevent").split() else "ethernet"


def bluetooth_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every Bluetooth controller."""
    for name, folder in sight.devices(BLUETOOTH_FOLDER):
        if _RADIO.match(name):
            yield _function("bluetooth", places.of(folder), "bluetooth")


def rfkill_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every radio switch (Documentation/ABI/stable/sysfs-class-rfkill)."""
    for _, folder in sight.devices(RFKILL_FOLDER):
        yield Node(
            bus="rfkill",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.BOUND,
            facts={**sight.facts(folder, "type"), **sight.numbers(folder, "hard", "soft")},
        )


def video_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every video capture node."""
    for _, folder in sight.devices(VIDEO_FOLDER):
        yield _function("video", places.of(folder), "camera", sight.text(folder, "name"))
