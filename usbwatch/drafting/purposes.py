"""What a device is for, in one word of a profile, and what says so.

A node can do several things: a keyboard has mouse keys, a camera a microphone.
The word is that of the part a bench would name it by.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from usbwatch.compare.scene import bus_of
from usbwatch.model import FUNCTIONS, Kind, Node
from usbwatch.profile.faults import quoted

__all__ = ["NOT_TOLD", "assumed_keyboard", "purpose"]

NOT_TOLD = "nothing tells what it does"
"""How the evidence begins for a device without a function."""

_FIRST_OF_SEVERAL = (
    "battery",
    "mains-adapter",
    "fingerprint-reader",
    "smart-card-reader",
    "wwan",
    "wlan",
    "bluetooth",
    "camera",
    "keyboard",
    "touchpad",
    "touchscreen",
    "pointing-stick",
    "pen",
    "mouse",
    "audio",
    "ethernet",
)
"""Of several functions the one that names the part, first to last (common practice, no source); then by alphabet."""

_ANY_POINTING = "pointing-device"


def purpose(node: Node, signs: Iterable[Node]) -> tuple[str, str]:
    """The function of a device as a profile writes it, and the evidence as one phrase; "" where nothing tells it.

    ``signs`` are the interfaces of the node and what the kernel made of it.
    """
    if node.bus == "serio" and node.functions:
        return _on_ps2(node)
    known = tuple(one for one in node.functions if one in FUNCTIONS)
    if not known:
        return _by_name(node)
    function = _main(known)
    beside = [one for one in known if one not in (function, _ANY_POINTING)]
    also = f"; it does {' and '.join(beside)}, too" if beside else ""
    return function, f"{_evidence(node, function, signs)}{also}"


def _main(functions: tuple[str, ...]) -> str:
    ranked = [one for one in _FIRST_OF_SEVERAL if one in functions]
    return ranked[0] if ranked else functions[0]


def assumed_keyboard(function: str, place: str) -> bool:
    """Whether a keyboard at a place is one that the kernel assumes.

    drivers/input/serio/i8042.c registers the keyboard's port without asking
    whether something is on it.
    """
    return function == "keyboard" and bus_of(place) == "serio"


def _on_ps2(node: Node) -> tuple[str, str]:
    """A PS/2 pad or stick may answer as a mouse, and so may be any pointing device (SMBIOS names it no better)."""
    if "keyboard" in node.functions:
        return "keyboard", "the kernel assumes it on its PS/2 port without asking"
    return _ANY_POINTING, "something answered on the PS/2 port for pointing devices; a touchpad may answer as a mouse"


def _evidence(node: Node, function: str, signs: Iterable[Node]) -> str:
    by_bus = {
        "acpi": f"firmware id {node.identity}",
        "block": "a disk on its own port",
        "drm": f"display connector {node.name} is of a kind used inside",
        "mmc": f"card of type {node.facts.get('type', '')}",
        "pci": f"PCI class {node.facts.get('class', '')}",
        "soundwire": "a codec on a SoundWire link",
    }
    told = sorted((one for one in signs if function in one.functions), key=_weight)
    if node.bus in by_bus and not (told and node.bus in ("pci", "mmc") and told[0].kind is Kind.FUNCTION):
        return by_bus[node.bus]
    if told:
        return _said_by(told[0], node, function)
    return f"its class is {node.facts.get('class')}" if node.facts.get("class") else f"its {node.bus} node says so"


def _weight(sign: Node) -> tuple[bool, int, str]:
    """The driver's work before a class code; then the nearest."""
    return sign.kind is not Kind.FUNCTION, sign.location.count("/"), sign.location


def _said_by(sign: Node, node: Node, function: str) -> str:
    if sign.kind is Kind.INTERFACE:
        return f"USB class {sign.identity} of its interface {sign.location.rpartition('/if')[2]}"
    code = node.facts.get("class", "")
    beside = f" (PCI class {code})" if node.bus == "pci" else ""
    return f"its driver made {_with_article(function)} of it, a node of {sign.bus}{beside}"


_UNCOUNTED = frozenset({"audio", "bluetooth", "ethernet", "graphics", "storage", "wlan", "wwan"})


def _with_article(function: str) -> str:
    thing = f"{function} device" if function in _UNCOUNTED else function
    return f"{'an' if thing[0] in 'aeiou' else 'a'} {thing}"


_NAMED: tuple[tuple[str, str], ...] = (
    (r"finger ?print|biometric", "fingerprint-reader"),
    (r"smart ?card|ccid", "smart-card-reader"),
    (r"card ?reader", "card-reader"),
    (r"touch ?pad|track ?pad", "touchpad"),
    (r"touch ?screen", "touchscreen"),
    (r"keyboard", "keyboard"),
    (r"camera|webcam", "camera"),
    (r"bluetooth", "bluetooth"),
    (r"modem|broadband|\blte\b", "wwan"),
    (r"\bals\b|ambient|accelerometer|sensor", "sensor"),
)
"""Words in a device's own name that tell what it is, where no class does (common practice, no source)."""

_FIRMWARE_NAMED: tuple[tuple[str, str], ...] = (
    (r"ALS[0-9A-Z_]\Z", "sensor"),
    (r"FPN[0-9A-Z_]\Z", "fingerprint-reader"),
)
"""Beginnings of firmware's names for objects, likewise."""


def _by_name(node: Node) -> tuple[str, str]:
    """A guess by what the device calls itself or firmware calls it, named as one."""
    for pattern, function in _NAMED:
        if node.name and re.search(pattern, node.name, re.IGNORECASE | re.ASCII):
            return function, f"a guess: it calls itself {quoted(node.name)}, and no class tells its function"
    called = node.location.rpartition(".")[2] if node.location.startswith("acpi/") else ""
    for pattern, function in _FIRMWARE_NAMED:
        if re.match(pattern, called):
            return function, f"a guess: firmware calls it {called}, and its driver {quoted(node.driver)} tells no more"
    name = f"; it calls itself {quoted(node.name)}" if node.name else ""
    return "", f"{NOT_TOLD}: no class, and nothing that the kernel made of it{name}"
