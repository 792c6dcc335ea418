"""The words for what a device does: of a node in a capture, and of an expected device in a profile."""

from __future__ import annotations

from typing import Tuple

__all__ = ["FUNCTIONS"]

FUNCTIONS: Tuple[str, ...] = (
    "audio",
    "battery",
    "bluetooth",
    "camera",
    "card-reader",
    "disk",
    "ethernet",
    "fan",
    "fingerprint-reader",
    "graphics",
    "hub",
    "keyboard",
    "lid",
    "mains-adapter",
    "mouse",
    "panel",
    "pen",
    "pointing-device",
    "pointing-stick",
    "power-button",
    "sensor",
    "smart-card-reader",
    "storage",
    "touchpad",
    "touchscreen",
    "usb-controller",
    "wlan",
    "wwan",
)
"""Every word, sorted. This is the one place in which they stand."""
