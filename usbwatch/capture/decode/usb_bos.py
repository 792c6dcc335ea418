"""The binary device object store: what a device can do beyond its configurations.

sysfs has it as ``bos_descriptors``. Source of the layouts and type numbers:
``usb_bos_descriptor`` and the ``*_cap_*`` structures in the kernel's
``include/uapi/linux/usb/ch9.h`` (USB 3.2 section 9.6.2, from memory). [from
memory] the platform capability (USB 3.2 section 9.6.2.4), the names of its
UUIDs, and the billboard capabilities (Billboard Device Class 1.2 section 3.1.6).
A capability of another type is kept as it came.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Dict, List, Tuple

from usbwatch.capture.decode.class_values import ClassDescriptor
from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.layout import HEAD, Layout, Part, guid, number, numbers, octets, read, to_end

__all__ = ["CAPABILITIES", "CAPABILITY_HEAD", "LONGEST", "PLATFORMS", "STORE", "Bos", "decode"]

LONGEST = 0xFFFF
"""Bytes that are read at most: the largest wTotalLength."""

STORE = Layout("binary device object store", (number("wTotalLength", 2), number("bNumDeviceCaps")))
CAPABILITY_HEAD: Tuple[Part, ...] = (*HEAD, number("bDevCapabilityType"))

_BOS = 0x0F
_CAPABILITY = 0x10
_AT_TOTAL_LENGTH = 2
_AT_NUM_CAPABILITIES = 4

CAPABILITIES: Dict[int, Layout] = {
    0x01: Layout(
        "wireless USB",
        (
            number("bmAttributes"),
            number("wPHYRates", 2),
            number("bmTFITXPowerInfo"),
            number("bmFFITXPowerInfo"),
            number("bmBandGroup", 2),
            number("bReserved"),
        ),
    ),
    0x02: Layout("USB 2.0 extension", (number("bmAttributes", 4),)),
    0x03: Layout(
        "SuperSpeed",
        (
            number("bmAttributes"),
            number("wSpeedSupported", 2),
            number("bFunctionalitySupport"),
            number("bU1devExitLat"),
            number("wU2DevExitLat", 2),
        ),
    ),
    0x04: Layout("container id", (number("bReserved"), guid("ContainerID"))),
    0x05: Layout("platform", (number("bReserved"), guid("PlatformCapabilityUUID"), octets("CapabilityData", to_end()))),
    0x06: Layout(
        "power delivery",
        (
            number("bReserved"),
            number("bmAttributes", 4),
            number("bmProviderPorts", 2),
            number("bmConsumerPorts", 2),
            number("bcdBCVersion", 2),
            number("bcdPDVersion", 2),
            number("bcdUSBTypeCVersion", 2),
        ),
    ),
    0x07: Layout(
        "battery",
        (
            number("iBattery"),
            number("iSerial"),
            number("iManufacturer"),
            number("bBatteryId"),
            number("bReserved"),
            number("dwChargedThreshold", 4),
            number("dwWeakThreshold", 4),
            number("dwBatteryDesignCapacity", 4),
            number("dwBatteryLastFullchargeCapacity", 4),
        ),
    ),
    0x08: Layout(
        "power consumer port",
        (
            number("bReserved"),
            number("bmCapabilities"),
            number("wMinVoltage", 2),
            number("wMaxVoltage", 2),
            number("wReserved", 2),
            number("dwMaxOperatingPower", 4),
            number("dwMaxPeakPower", 4),
            number("dwMaxPeakPowerTime", 4),
        ),
    ),
    0x09: Layout(
        "power provider port",
        (
            number("bReserved1"),
            number("bmCapabilities"),
            number("bNumOfPDObjects"),
            number("bReserved2"),
            numbers("wPowerDataObject", 4, "bNumOfPDObjects"),
        ),
    ),
    0x0A: Layout(
        "SuperSpeedPlus",
        (
            number("bReserved"),
            number("bmAttributes", 4),
            number("wFunctionalitySupport", 2),
            number("wReserved", 2),
            # Bits 4 to 0 of bmAttributes: how many there are, less one.
            numbers("bmSublinkSpeedAttr", 4, lambda known: (known["bmAttributes"] & 0x1F) + 1),
        ),
    ),
    0x0B: Layout("precision time measurement", ()),
    0x0D: Layout(
        "billboard",
        (
            number("iAdditionalInfoURL"),
            number("bNumberOfAlternateModes"),
            number("bPreferredAlternateMode"),
            number("VCONNPower", 2),
            octets("bmConfigured", 32),
            number("bcdVersion", 2),
            number("bAdditionalFailureInfo"),
            number("bReserved"),
            # Each from its lowest byte: wSVID (2), bAlternateMode, iAlternateModeString.
            numbers("AlternateModes", 4, "bNumberOfAlternateModes"),
        ),
    ),
    0x0F: Layout("billboard alternate mode", (number("bIndex"), number("dwAlternateModeVdo", 4))),
}
"""By bDevCapabilityType."""

PLATFORMS: Dict[str, str] = {
    "3408b638-09a9-47a0-8bfd-a0768815b665": "WebUSB",
    "d8dd60df-4589-4cc7-9cd2-659d9e648a9f": "Microsoft OS 2.0 descriptors",
}
"""Names of platform capabilities, by PlatformCapabilityUUID."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bos:
    """A binary device object store."""

    store: ClassDescriptor | None = None
    """The descriptor it starts with."""
    capabilities: Tuple[ClassDescriptor, ...] = ()
    """In the order of the bytes. One of an unknown type, or no capability at all, has no name."""
    defects: Tuple[Defect, ...] = ()
    """By offset."""

    def capability(self, name: str) -> ClassDescriptor | None:
        """The first capability of that name, a name in ``CAPABILITIES``."""
        return next((capability for capability in self.capabilities if capability.name == name), None)


def decode(data: bytes) -> Bos:
    """What a BOS block says, and what is wrong with it. Raises nothing.

    Every byte belongs to one descriptor, or to one defect that has a length.
    """
    defects: List[Defect] = []
    store = None
    capabilities: List[ClassDescriptor] = []
    offset = 0
    block = data[:LONGEST]
    while offset < len(block):
        length = block[offset]
        if not len(HEAD) <= length <= len(block) - offset:
            problem = f"bLength is {length} where {len(block) - offset} bytes are left; what follows was not read"
            defects.append(Defect(offset=offset, problem=problem, length=len(block) - offset))
            break
        descriptor, found = _one(block[offset : offset + length], offset)
        defects.extend(found)
        if offset or block[1] != _BOS:
            capabilities.append(descriptor)
        else:
            store = descriptor
        offset += length
    defects.extend(_store_defects(data, store, capabilities))
    return Bos(
        store=store,
        capabilities=tuple(capabilities),
        defects=tuple(sorted(defects, key=lambda defect: defect.offset)),
    )


def _one(data: bytes, offset: int) -> Tuple[ClassDescriptor, List[Defect]]:
    """One descriptor of the block, whatever it is."""
    if data[1] == _CAPABILITY:
        kind = data[2] if len(data) > len(HEAD) else None
        return read(data, offset, CAPABILITIES.get(kind) if kind is not None else None, CAPABILITY_HEAD)
    if data[1] == _BOS and offset == 0:
        return read(data, offset, STORE)
    descriptor, defects = read(data, offset, None)
    problem = f"descriptor type {data[1]:02x} is no device capability; kept as it came"
    return descriptor, [*defects, Defect(offset=offset, problem=problem)]


def _store_defects(data: bytes, store: ClassDescriptor | None, capabilities: List[ClassDescriptor]) -> List[Defect]:
    """What is wrong with the block as a whole."""
    defects = []
    if len(data) > LONGEST:
        problem = f"longer than the {LONGEST} bytes that a BOS can have; the rest was not read"
        defects.append(Defect(offset=LONGEST, problem=problem, length=len(data) - LONGEST))
    if store is None:
        return [Defect(offset=0, problem="no BOS descriptor at the start"), *defects]
    total, count = store.number("wTotalLength"), store.number("bNumDeviceCaps")
    if total is not None and total != len(data):
        defects.append(Defect(offset=_AT_TOTAL_LENGTH, problem=f"wTotalLength is {total}, found {len(data)} bytes"))
    if count is not None and count != len(capabilities):
        problem = f"bNumDeviceCaps is {count}, found {len(capabilities)}"
        defects.append(Defect(offset=_AT_NUM_CAPABILITIES, problem=problem))
    return defects
