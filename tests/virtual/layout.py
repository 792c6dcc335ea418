"""What the layout of an emulated laptop is made of: which parts sit where, and what its firmware says."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from virtual.firmware import Firmware
from virtual.usb_parts import UsbPart

__all__ = ["Layout", "Port"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Port:
    """A port of a USB controller, in the emulator's terms."""

    bus: str
    """The controller's name followed by ``.0``."""
    port: str
    """Its number; below a hub, the hub's and the hub's own: ``4.1``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One invented model as a machine."""

    profile: str
    """Id of the model's profile."""
    usb_parts: Mapping[str, tuple[Port, UsbPart]]
    """The invented USB parts by name."""
    sockets: Mapping[str, Port]
    """Where a person can plug something in."""
    screen: tuple[int, int]
    """Columns and rows of the panel, in picture elements; graphics are always at 02.0."""
    board: tuple[str, ...]
    """Arguments for what is always there."""
    own_parts: Callable[[Path], Mapping[str, tuple[str, ...]]]
    """Arguments for each part that the emulator brings, by the part's name; its files are made in a folder."""
    firmware: Firmware
