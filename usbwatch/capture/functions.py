"""What a node does, told from standard identifiers alone.

Each table names its source. A function is one word of the vocabulary
``usbwatch.model.FUNCTIONS``; a node can have several, and none is a valid answer.
"""

from __future__ import annotations

from typing import Dict, Iterable, List, Tuple

__all__ = ["ACPI_FUNCTIONS", "of_input", "of_pci_class", "union"]

ACPI_FUNCTIONS: Dict[str, str] = {
    "PNP0C0A": "battery",
    "ACPI0002": "battery",
    "ACPI0003": "mains-adapter",
    "PNP0C0D": "lid",
    "PNP0C0C": "power-button",
    "LNXPWRBN": "power-button",
    "ACPI0008": "sensor",
    "PNP0C0B": "fan",
    "INT3404": "fan",
}
"""drivers/acpi/battery.c, sbs.c, ac.c, button.c, fan.h; drivers/iio/light/acpi-als.c."""

_PCI_CLASSES: Tuple[Tuple[str, str], ...] = (
    ("0108", "disk"),
    ("0109", "disk"),
    ("0200", "ethernet"),
    ("0280", "wlan"),
    ("0d40", "wwan"),
    ("03", "graphics"),
    ("0401", "audio"),
    ("0403", "audio"),
    ("0805", "card-reader"),
    ("0c03", "usb-controller"),
)
"""Beginnings of the PCI class code (pci.ids)."""


def of_pci_class(code: str) -> Tuple[str, ...]:
    """Functions of a PCI class code of six hex digits, such as ``0c0330``."""
    return tuple(function for start, function in _PCI_CLASSES if code.startswith(start))


def union(functions: Iterable[str]) -> Tuple[str, ...]:
    """Sorted, each once; the three pointing kinds carry ``pointing-device`` too."""
    found = set(functions)
    if found & {"touchpad", "mouse", "pointing-stick"}:
        found.add("pointing-device")
    return tuple(sorted(found))


# Numbers below: include/uapi/linux/input-event-codes.h.
_PROP_DIRECT, _PROP_POINTING_STICK = 1, 5
_EV_KEY, _EV_REL, _EV_ABS, _EV_SW = 1, 2, 3, 5
_LETTERS = range(16, 26)
_KEY_POWER, _BTN_LEFT, _BTN_PEN, _BTN_FINGER, _BTN_TOUCH = 116, 0x110, 0x140, 0x145, 0x14A
_SW_LID = 0


def _bits(words: str) -> int:
    """A capability bitmap: hex words of 64 bits, most significant first; 0 for anything else."""
    total = 0
    for word in words.split():
        try:
            total = (total << 64) | (int(word, 16) & (1 << 64) - 1)
        except ValueError:
            return 0
    return total


def of_input(capabilities: Dict[str, str]) -> Tuple[str, ...]:
    """Functions of an input node from its ``ev``, ``key``, ``rel``, ``abs``, ``sw`` bitmaps and ``properties``."""
    bits = {name: _bits(words) for name, words in capabilities.items()}

    def has(name: str, bit: int) -> bool:
        return bool(bits.get(name, 0) >> bit & 1)

    found: List[str] = []
    if has("ev", _EV_KEY) and all(has("key", letter) for letter in _LETTERS):
        found.append("keyboard")
    elif has("key", _KEY_POWER) and bits["key"] == 1 << _KEY_POWER:
        found.append("power-button")
    if has("ev", _EV_SW) and has("sw", _SW_LID):
        found.append("lid")
    if has("ev", _EV_ABS) and has("key", _BTN_TOUCH):
        found.append(_absolute(has("properties", _PROP_DIRECT), has("key", _BTN_FINGER), has("key", _BTN_PEN)))
    elif has("ev", _EV_REL) and has("key", _BTN_LEFT):
        found.append("pointing-stick" if has("properties", _PROP_POINTING_STICK) else "mouse")
    return union(found)


def _absolute(direct: bool, finger: bool, pen: bool) -> str:
    """Which absolute pointing device it is: touchpads name the finger as a tool and are not direct."""
    if finger and not direct:
        return "touchpad"
    return "pen" if pen else "touchscreen"
