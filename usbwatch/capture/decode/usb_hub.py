"""The hub descriptor, which a hub gives on request and keeps out of its configuration.

Source: USB 2.0 section 11.23.2.1, table 11-13, and USB 3.x table 10-5 [from
memory], both read in the kernel's ``include/uapi/linux/usb/ch11.h``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Dict, List, Mapping, Tuple

from usbwatch.capture.decode.class_values import ClassDescriptor
from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.layout import HEAD, Layout, number, octets, read

__all__ = ["HUB", "Hub", "decode", "hub"]

_COMMON = (
    number("bNbrPorts"),
    number("wHubCharacteristics", 2),
    number("bPwrOn2PwrGood"),
    number("bHubContrCurrent"),
)


def _port_bytes(known: Mapping[str, int]) -> int:
    """A bit for each port, and bit 0, which no port has."""
    return known["bNbrPorts"] // 8 + 1


HUB: Dict[int, Layout] = {
    0x29: Layout(
        "hub", (*_COMMON, octets("DeviceRemovable", _port_bytes), octets("PortPwrCtrlMask", _port_bytes, optional=True))
    ),
    0x2A: Layout(
        "SuperSpeed hub",
        (*_COMMON, number("bHubHdrDecLat"), number("wHubDelay", 2), number("DeviceRemovable", 2)),
    ),
}
"""By bDescriptorType. DeviceRemovable: bit n is set when the device on port n is fixed."""

_COMPOUND = 0x04


@dataclass(frozen=True, slots=True, kw_only=True)
class Hub:
    """What a hub says of itself."""

    port_count: int
    compound: bool
    """Whether it is part of the device that hangs on it."""
    power_switching: str
    """``ganged``, ``per port`` or ``none``."""
    over_current: str
    """What it can report: ``global``, ``per port`` or ``none``, and then an over-current is never seen."""
    power_good_ms: int
    """From switching a port on until its power is good."""
    fixed_ports: Tuple[int, ...]
    """Whose device cannot be taken off, as the hub has it."""


def decode(data: bytes) -> Tuple[ClassDescriptor | None, Tuple[Defect, ...]]:
    """A hub descriptor and what is wrong with it; None when ``data`` does not begin with one. Raises nothing."""
    if len(data) < len(HEAD) or data[1] not in HUB:
        return None, (Defect(offset=0, problem="no hub descriptor", length=len(data)),)
    length = data[0]
    if not len(HEAD) <= length <= len(data):
        problem = f"bLength is {length}, but there are {len(data)} bytes"
        return None, (Defect(offset=0, problem=problem, length=len(data)),)
    descriptor, defects = read(data[:length], 0, HUB[data[1]])
    return descriptor, (*defects, *_behind(data, length))


def _behind(data: bytes, length: int) -> List[Defect]:
    left = len(data) - length
    return [Defect(offset=length, problem=f"{left} bytes after the descriptor", length=left)] if left else []


def hub(descriptor: ClassDescriptor) -> Hub | None:
    """The hub that a hub descriptor describes, None when it is no whole one."""
    ports, flags = descriptor.number("bNbrPorts"), descriptor.number("wHubCharacteristics")
    delay = descriptor.number("bPwrOn2PwrGood")
    if ports is None or flags is None or delay is None:
        return None
    removable = descriptor.number("DeviceRemovable")
    if removable is None:
        removable = int.from_bytes(bytes.fromhex(descriptor.text("DeviceRemovable")), "little")
    return Hub(
        port_count=ports,
        compound=bool(flags & _COMPOUND),
        power_switching=("ganged", "per port", "none", "none")[flags & 0x03],
        over_current=("global", "per port", "none", "none")[flags >> 3 & 0x03],
        power_good_ms=2 * delay,
        fixed_ports=tuple(port for port in range(1, ports + 1) if removable >> port & 1),
    )
