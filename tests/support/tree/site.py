"""One tree under construction: where it goes, what it is of, and what is to be different in it."""

from __future__ import annotations

from dataclasses import dataclass

from support.tree.conditions import Conditions
from support.tree.firmware import Namespace
from support.tree.kernel_log import KernelLog
from support.tree.parts import Laptop, PciPart, UsbPart
from support.tree.writer import Writer

__all__ = ["Site"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Everything that a builder of one bus needs."""

    writer: Writer
    laptop: Laptop
    conditions: Conditions
    namespace: Namespace
    log: KernelLog

    def drives(self, part: str, driver: str) -> bool:
        """Whether ``driver`` is loaded and holds the part."""
        return bool(driver) and driver not in self.conditions.unloaded and part not in self.conditions.undriven

    def speed(self, part: UsbPart) -> int:
        """Mbit/s at which a USB part runs."""
        return self.conditions.slow.get(part.id, part.speed)

    def bus_numbers(self, controller: str) -> tuple[int, int]:
        """Numbers of a controller's USB 2 and USB 3 bus: in the order of the controllers, unless told otherwise."""
        told = self.conditions.bus_numbers.get(controller)
        if told:
            return told
        before = [pci for pci in self.laptop.pci if pci.usb2_ports]
        first = 1 + 2 * [pci.id for pci in before].index(controller)
        return first, first + 1

    def _bridge_bus(self, bridge: str) -> int:
        bridges = sorted({pci.slot.partition("/")[0] for pci in self.laptop.pci if "/" in pci.slot})
        return self.conditions.first_pci_bus + bridges.index(bridge)

    def pci_name(self, slot: str) -> str:
        """The kernel's name of a PCI function: ``0000:01:00.0`` for ``1c.0/00.0``."""
        bridge, _, behind = slot.partition("/")
        return f"0000:{self._bridge_bus(bridge):02x}:{behind}" if behind else f"0000:00:{slot}"

    def pci_folder(self, slot: str) -> str:
        """Folder of a PCI function."""
        bridge, _, behind = slot.partition("/")
        above = f"sys/devices/pci0000:00/0000:00:{bridge}"
        return f"{above}/{self.pci_name(slot)}" if behind else above

    def pci_parts(self) -> list[PciPart]:
        """The PCI functions that are there, bridges before what is behind them, in the order of the conditions."""
        present = [pci for pci in self.laptop.pci if pci.id not in self.conditions.missing]
        slots = {pci.slot for pci in present}
        reached = [pci for pci in present if "/" not in pci.slot or pci.slot.partition("/")[0] in slots]
        order = self.conditions.order
        return sorted(reached, key=lambda pci: order.index(pci.id) if pci.id in order else len(order))

    def usb_parts(self, controller: str) -> list[UsbPart]:
        """The USB parts of a controller that are there: hubs before their children, then in the order of plugging."""
        order = self.conditions.order
        known = (*self.laptop.usb, *self.conditions.sockets)
        there = [part for part in known if part.controller == controller and part.id not in self.conditions.missing]
        ranked = sorted(there, key=lambda part: order.index(part.id) if part.id in order else len(order))
        return sorted(ranked, key=lambda part: part.port.count("."))
