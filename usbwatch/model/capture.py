"""One recorded look at a unit: the nodes, what could be seen, and what the log says.

These are values. ``usbwatch.capture`` makes them from a machine or a copied
tree, and writes and reads them as files.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import Dict, Tuple, Union

from usbwatch.model.ladder import CoverageState, Rung
from usbwatch.model.observation import Observation
from usbwatch.model.watch import Watch

__all__ = [
    "CAPTURE_SCHEMA",
    "Blacklisted",
    "Capture",
    "Coverage",
    "Episode",
    "Fact",
    "Kind",
    "Node",
    "Software",
    "System",
    "UnitStrings",
]

CAPTURE_SCHEMA = 1
"""Version of the capture document. Raised when a reader of the last one would go wrong."""

Fact = Union[str, int]


class Kind(Enum):
    """What sort of thing a node is; it decides how a node is compared."""

    DEVICE = "device"
    """A part that can be expected: a USB device, an I2C client, a battery, a panel."""
    INTERFACE = "interface"
    """One USB interface of a device."""
    FUNCTION = "function"
    """What the kernel made of a device: an input, sound, network or HID node."""
    PORT = "port"
    """A place where a device can be: a USB port, a PS/2 port."""
    INFRASTRUCTURE = "infrastructure"
    """Hubs at the root, bridges, controllers and adapters that carry other nodes."""
    DECLARED = "declared"
    """Firmware's word for a device; neither proof of presence nor of absence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """One enumerated thing on a bus. ``(bus, location)`` is unique in a capture."""

    bus: str
    """``usb``, ``pci``, ``i2c``, ``spi``, ``serio``, ``hid``, ``input``, ``acpi``, … as the kernel names it."""
    location: str
    """See ``usbwatch.model.location``."""
    kind: Kind
    rung: Rung
    identity: str = ""
    """``1209:0001`` for USB and PCI (vendor:product, lower-case hex), ``PNP0C0A`` for ACPI, and so on."""
    name: str = ""
    """What the node calls itself. Never trusted: it may hold anything."""
    functions: Tuple[str, ...] = ()
    """What it does, sorted: ``keyboard``, ``touchpad``, ``battery``, … (``usbwatch.capture.functions``)."""
    driver: str = ""
    facts: Dict[str, Fact] = field(default_factory=dict)
    """Attribute values by the kernel's own attribute name and in its unit; names of our own carry the unit."""
    raw: Dict[str, str] = field(default_factory=dict)
    """Binary attributes in hex, kept beside what was decoded from them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """Whether one bus was looked at, and what was there to see."""

    bus: str
    state: CoverageState
    nodes: int = 0
    """How many nodes of this bus the capture holds."""
    why: str = ""
    """For a bus that could not be seen: the reason, as one phrase."""
    root_would_help: bool = False
    unread: int = 0
    """How many single files could not be read although the bus could."""
    drivers: Tuple[str, ...] = ()
    """Drivers that this kernel has loaded for the bus, sorted: without its driver a part cannot show more."""
    unread_names: Tuple[str, ...] = ()
    """Names of the single files that could not be read for want of rights, sorted, each once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """Lines of the kernel log that belong to one trouble at one place."""

    location: str
    """Where, or "" when the log names no place that this capture knows."""
    trouble: str
    """``enumeration failed``, …: see ``usbwatch.capture.log``."""
    count: int
    """How many lines."""
    errno: int = 0
    """The error number of the last line that has one (negative, as the kernel prints it), or 0."""
    lines: Tuple[str, ...] = ()
    """The first and last lines, as logged."""
    subject: str = ""
    """Where ``location`` is "", the kernel's own name for what the lines are about: ``nvme0``, ``hci0``, …"""
    first_us: int = 0
    """Stamp of the first line: microseconds since the system started, or since 1970 in a log with wall-clock times."""
    last_us: int = 0
    """Stamp of the last line, in the same clock."""
    rung: Rung = Rung.ABSENT
    """How far the lines prove that the device got, at its best."""
    device_numbers: Tuple[int, ...] = ()
    """USB device numbers that were given in the course of it, sorted."""
    doubtful: int = 0
    """How many of the lines a device could have written (``usbwatch.capture.log.doubt``); never all of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitStrings:
    """What firmware calls the unit: SMBIOS strings as the kernel's ``dmi/id`` gives them, "" where it gives none."""

    sys_vendor: str = ""
    product_name: str = ""
    product_version: str = ""
    product_sku: str = ""
    product_family: str = ""
    product_serial: str = ""
    board_vendor: str = ""
    board_name: str = ""
    board_version: str = ""
    bios_version: str = ""
    chassis_type: str = ""
    """Decimal, SMBIOS 7.4.1: 9 laptop, 10 notebook, 31 convertible, 32 detachable, …"""


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """The system that did the looking."""

    platform: str
    """``linux``, …"""
    kernel: str = ""
    source: str = "live"
    """``live`` for this machine, ``tree`` for a copied one, ``libusb`` for what libusb lists of this machine."""
    privileged: bool = False
    virtual: str = ""
    """The sign that this is a virtual machine or container, or ""."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Blacklisted:
    """A module that this system was told not to load by itself."""

    module: str
    """With ``_`` for ``-``, which are the same to the kernel."""
    where: str
    """The kernel parameter or the file that says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Software:
    """What of the looking system could keep hardware from showing: see ``usbwatch.capture.software``."""

    seen: Tuple[str, ...] = ()
    """Which sources could be read, sorted: ``command line``, ``driver list``, ``loaded modules``, ``modprobe.d``."""
    switches: Tuple[str, ...] = ()
    """Kernel parameters that bear on hardware, sorted; never the rest of the command line."""
    blacklisted: Tuple[Blacklisted, ...] = ()
    """By module, then place."""
    drivers_for: Dict[str, Tuple[str, ...]] = field(default_factory=dict)
    """By location of a device that no driver holds: modules of this kernel that are made for it, sorted."""
    loaded: Tuple[str, ...] = ()
    """Which of all the modules named here are loaded or built in, sorted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """One recorded look at a unit."""

    taken_at: str
    """RFC 3339, UTC; "" when a copied tree does not say."""
    tool: str
    """The version of usbwatch that made it."""
    system: System
    unit: UnitStrings
    coverage: Tuple[Coverage, ...]
    nodes: Tuple[Node, ...]
    """Sorted by location, then bus."""
    episodes: Tuple[Episode, ...] = ()
    observations: Tuple[Observation, ...] = ()
    """What a person did to the unit while it was watched, and what answered; the latest last."""
    software: Software = field(default_factory=Software)
    """What the looking system was told to leave alone, and which drivers it has for what none holds."""
    watches: Tuple[Watch, ...] = ()
    """What came and went while the unit was watched live, before or after this look; the latest last."""
