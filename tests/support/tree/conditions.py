"""What is to be different in a built tree: faults, helpers, and the kernel's accidents of numbering."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from support.tree.parts import UsbPart

__all__ = ["HEALTHY", "Conditions"]

_NONE: Mapping[str, int] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Faults are named by part id; the defaults are a healthy unit under kernel 6.1."""

    missing: tuple[str, ...] = ()
    """USB and PCI parts that are not there; I2C, SPI and PS/2 parts that do not answer."""
    undriven: tuple[str, ...] = ()
    """Parts that no driver holds although it is loaded."""
    unloaded: tuple[str, ...] = ()
    """Drivers that this kernel does not have."""
    slow: Mapping[str, int] = field(default_factory=lambda: _NONE)
    """USB parts that run at fewer Mbit/s than they could."""
    slow_links: Mapping[str, tuple[str, int]] = field(default_factory=lambda: MappingProxyType({}))
    """PCI parts whose link runs below what they can do: speed as the kernel prints it, and width."""
    failing: Mapping[str, tuple[str, int]] = field(default_factory=lambda: MappingProxyType({}))
    """USB parts that attach and do not enumerate: the stage (``device``, ``address``, ``configuration``), the errno."""
    unconfigured: Mapping[str, int] = field(default_factory=lambda: _NONE)
    """USB parts that refuse their configuration, with the errno."""
    unauthorised: tuple[str, ...] = ()
    """USB parts that the system's policy does not let in."""
    silent_reports: tuple[str, ...] = ()
    """USB HID parts whose report descriptor cannot be read: no driver holds the interface (errno -71)."""
    over_current: Mapping[str, int] = field(default_factory=lambda: _NONE)
    """Over-current counts by port chain of the USB 2 root hub."""
    sockets: tuple[UsbPart, ...] = ()
    """Helper devices in the unit's sockets."""
    battery: str = "well"
    """``well``, ``absent`` (bay empty), ``silent`` (gauge reads all ones), ``zero`` (gauge reads nothing but 0)."""
    on_mains: bool = True
    statuses: Mapping[str, int] = field(default_factory=lambda: _NONE)
    """ACPI ``status`` of declared parts, where it is not the usual one."""
    bus_numbers: Mapping[str, tuple[int, int]] = field(default_factory=lambda: MappingProxyType({}))
    """By controller: numbers of its USB 2 and its USB 3 bus."""
    first_pci_bus: int = 1
    """Number of the first PCI bus behind a bridge."""
    order: tuple[str, ...] = ()
    """Parts that the kernel meets before all others, in this order."""
    unmapped_ports: bool = False
    """Firmware says nothing of the USB ports."""
    unrecorded: tuple[str, ...] = ()
    """Paths that whoever copied the tree left out."""
    kernel: str = "6.1.0"
    under_hypervisor: bool = False

    @property
    def has_port_state(self) -> bool:
        """Whether the kernel has the port's ``state`` file (6.6 and later, from memory; 6.12 has it, 6.1 has not)."""
        major, minor = self.kernel.split(".")[:2]
        return (int(major), int(minor)) >= (6, 6)

    @property
    def has_bos(self) -> bool:
        """Whether the kernel shows ``bos_descriptors`` (6.12 does, 6.1 does not; between them not looked up)."""
        major, minor = self.kernel.split(".")[:2]
        return (int(major), int(minor)) >= (6, 12)


HEALTHY = Conditions()
