"""What captures through libusb say of themselves; who reads one needs no more of this package."""

from __future__ import annotations

__all__ = ["NOT_OBSERVABLE", "SOURCE"]

SOURCE = "libusb"
"""``System.source`` of such a capture."""

NOT_OBSERVABLE = "not observable on this system through libusb"
"""Why every other bus was not seen."""
