"""What a profile says of a device, read from the node that stands for it in a capture of a good unit."""

from __future__ import annotations

import re

from usbwatch.drafting.naming import LONGEST_NAME
from usbwatch.model import Node, Rung

__all__ = ["OFTEN_CHANGED", "lanes", "link_gts", "own_identity", "reaches", "speed_mbps"]

_SAYS_WHAT = frozenset({"usb", "pci", "i2c", "spi", "soundwire", "mmc", "drm"})
OFTEN_CHANGED = frozenset({"battery", "disk", "panel"})
"""Functions whose part a maker buys from several sources (common practice, no source)."""


def own_identity(node: Node) -> str:
    """The part's own word for what it is, "" where it has none, or none that a profile can hold."""
    text = node.identity
    fits = text == text.strip() and text.isprintable() and len(text) <= LONGEST_NAME
    lower = node.bus not in ("usb", "pci") or text == text.lower()
    return text if node.bus in _SAYS_WHAT and fits and lower else ""


_ASSUMED = "serio"


def reaches(node: Node, function: str) -> Rung:
    """The rung that it shows; a gauge that does not talk and a key that nobody pressed are no measure."""
    if node.bus == _ASSUMED or function in ("battery", "fan"):
        return Rung.WORKING
    return node.rung


def speed_mbps(node: Node) -> int | None:
    """Mbit/s of a USB or SATA link; None where it is not told, and at low speed, which no port falls below."""
    kbps = node.facts.get("speed_kbps")
    whole = isinstance(kbps, int) and kbps >= 12_000 and kbps <= 1_000_000_000  # noqa: PLR2004
    return kbps // 1000 if isinstance(kbps, int) and whole and node.bus in ("usb", "block") else None


def lanes(node: Node) -> int | None:
    """Lanes of a PCI Express link; None where it is not told, as of a function that sleeps."""
    width = str(node.facts.get("current_link_width", ""))
    number = int(width) if re.fullmatch(r"[1-9]\d?", width, re.ASCII) else 0
    return number if node.bus == "pci" and 1 <= number <= 32 else None  # noqa: PLR2004


_GTS = re.compile(r"(\d{1,2}(?:\.\d)?) GT/s", re.ASCII)


def link_gts(node: Node) -> float | None:
    """GT/s of a PCI Express link, where its width is told too."""
    speed = _GTS.match(str(node.facts.get("current_link_speed", "")))
    value = float(speed.group(1)) if speed and lanes(node) else 0.0
    return value if value > 0 else None
