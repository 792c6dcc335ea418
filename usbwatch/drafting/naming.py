"""Names and ids for what a draft holds, and the model's name from what firmware calls the unit."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from itertools import count

from usbwatch.model import Node, UnitStrings

__all__ = ["LONGEST_ID", "distinct", "model_id", "model_name", "printable", "told", "word_for"]

LONGEST_ID = 60
LONGEST_NAME = 120
"""Bounds of a profile (``usbwatch.profile.shape``)."""

_WORDS = {
    "audio": "Audio",
    "battery": "Battery",
    "bluetooth": "Bluetooth",
    "camera": "Camera",
    "card-reader": "Card reader",
    "disk": "Disk",
    "ethernet": "Ethernet",
    "fan": "Fan",
    "fingerprint-reader": "Fingerprint reader",
    "graphics": "Graphics",
    "hub": "Internal hub",
    "keyboard": "Keyboard",
    "lid": "Lid sensor",
    "mains-adapter": "Adapter detection",
    "mouse": "Mouse",
    "panel": "Panel",
    "pen": "Pen layer",
    "pointing-device": "PS/2 pointing device",
    "pointing-stick": "Pointing stick",
    "power-button": "Power button",
    "sensor": "Sensor",
    "smart-card-reader": "Smart card reader",
    "storage": "USB storage",
    "touchpad": "Touchpad",
    "touchscreen": "Touch screen",
    "usb-controller": "USB controller",
    "wlan": "Wireless LAN",
    "wwan": "Mobile broadband",
}
_ON_USB = {"audio": "USB audio", "ethernet": "USB Ethernet", "disk": "USB disk"}
_IDS = {"hub": "internal-hub"}
_NAMELESS = "Device without a known function"


def word_for(function: str, node: Node) -> tuple[str, str]:
    """The name of a device with a function, and the id to begin with."""
    if not function:
        return _NAMELESS, "unknown-device"
    if function == "storage" and node.bus == "usb":
        return "Card reader", "card-reader"
    on_usb = node.bus == "usb" and function in _ON_USB
    name = _ON_USB[function] if on_usb else _WORDS.get(function, function)
    return name, f"usb-{function}" if on_usb else _IDS.get(function, function)


def distinct(wanted: str, taken: Collection[str]) -> str:
    """``wanted``, or with the first number from 2 that makes an id of its own of it."""
    if wanted not in taken:
        return wanted
    return next(one for number in count(2) if (one := f"{wanted}-{number}") not in taken)


_PLACEHOLDERS = frozenset(
    {
        "0123456789",
        "123456789",
        "applicable",
        "asset tag",
        "base board product name",
        "board name",
        "chassis manufacturer",
        "default",
        "default string",
        "empty",
        "filled by oem",
        "invalid",
        "n/a",
        "na",
        "no data",
        "none",
        "not applicable",
        "not available",
        "not defined",
        "not specified",
        "notebook",
        "null",
        "o.e.m.",
        "oem",
        "product name",
        "sku",
        "sku number",
        "standard",
        "system manufacturer",
        "system product name",
        "system sku",
        "system version",
        "tbd",
        "to be filled by o.e.m.",
        "to be filled by oem",
        "to be set by oem",
        "type1family",
        "type1productconfigid",
        "type1sku0",
        "type2 - board manufacturer",
        "type2 - board product name",
        "type2 - board version",
        "undefined",
        "unknown",
        "x.x",
        "xxxx",
    }
)
"""Texts that board makers ship in place of a name (common practice, no source)."""


def told(text: str) -> bool:
    """Whether an SMBIOS string says something: no blank, no placeholder, nothing that a profile could not hold."""
    plain = " ".join(text.split()).casefold()
    filler = not plain.strip("0. -_*x")
    return (
        bool(plain) and not filler and plain not in _PLACEHOLDERS and text.isprintable() and len(text) <= LONGEST_NAME
    )


def printable(text: str, length: int = LONGEST_NAME) -> str:
    """One line of ``text`` that a profile can hold, "" for nothing."""
    shown = "".join(letter if letter.isprintable() else " " for letter in text)
    return " ".join(shown.split())[:length].strip()


def model_name(unit: UnitStrings) -> str:
    """What people may call the model, from the strings that say something."""
    pairs = ((unit.sys_vendor, unit.product_name), (unit.board_vendor, unit.board_name))
    for maker, model in pairs:
        if told(model):
            return printable(" ".join(_without_repeats((maker if told(maker) else "", model))))
    return "Unnamed model"


def _without_repeats(words: Iterable[str]) -> Iterable[str]:
    """Maker and model, the maker once where the model begins with it."""
    maker, model = words
    return (model,) if not maker or model.casefold().startswith(maker.casefold()) else (maker, model)


def model_id(name: str) -> str:
    """An id for a profile from the model's name: ``fernhill-larch-13``."""
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower())[:LONGEST_ID].strip("-")
    return plain or "unnamed-model"
