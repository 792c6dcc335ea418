"""What the descriptors of a USB device tell for comparison: functions, the speed it can do, what is wrong with them.

The bytes themselves stay in the capture's ``raw``; here only what is compared
or judged becomes a fact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Dict, Iterator, List, Sequence, Tuple

from usbwatch.capture.decode import class_specific, usb_bos, usb_descriptors
from usbwatch.capture.decode.class_specific import ClassSpecific
from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.usb_bos import Bos
from usbwatch.capture.decode.usb_classes import functions_of
from usbwatch.capture.decode.usb_descriptors import Descriptors
from usbwatch.capture.functions import union
from usbwatch.capture.usb_speeds import SUPERSPEED_KBPS
from usbwatch.model import Fact

__all__ = ["Described", "described"]

_FIRST_SUPERSPEED_RELEASE = 0x0300
"""bcdUSB of a device that runs at SuperSpeed: drivers/usb/core/hub.c resets a SuperSpeed device that claims less."""

_SPEEDS_SUPPORTED = ((0x08, SUPERSPEED_KBPS), (0x04, 480_000), (0x02, 12_000), (0x01, 1_500))
"""Bits of wSpeedSupported (USB_5GBPS_OPERATION and so on in include/uapi/linux/usb/ch9.h), fastest first."""

_EXPONENTS_KBPS = (0, 1, 1_000, 1_000_000)
"""By USB_SSP_SUBLINK_SPEED_LSE, bits 5 and 4 of a sublink speed (ch9.h): bit/s, kbit/s, Mbit/s, Gbit/s."""

_FUNCTIONAL: Dict[str, Tuple[str, ...]] = {
    "mobile broadband": ("wwan",),
    "device management": ("wwan",),
    "ethernet networking": ("ethernet",),
    "network control model": ("ethernet",),
}
"""What a communications device does whose subclass does not tell, by its functional descriptors.

Ethernet and network control: USB CDC 1.2 section 5.2.3 and NCM 1.0. Mobile broadband: MBIM 1.0. Device
management: WMC 1.1, wireless handsets (which is for what: from memory).
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """What is taken from the descriptors of one device."""

    functions: Tuple[str, ...]
    facts: Dict[str, Fact]


def described(descriptors: bytes, bos_descriptors: bytes) -> Described:
    """Functions and facts that a device's own descriptors give. Raises nothing.

    ``can_speed_kbps`` is the fastest that the device says it can do. It is left
    out where it says nothing: a USB 2 device tells what it can do beyond its
    present speed in a device qualifier, which sysfs does not have; and kernels
    before 6.12 (from memory) do not show a BOS.
    """
    decoded = usb_descriptors.decode(descriptors)
    specific = class_specific.decode(decoded)
    bos = usb_bos.decode(bos_descriptors)
    speed = _can_kbps(decoded, specific, bos)
    facts: Dict[str, Fact] = {"can_speed_kbps": speed} if speed else {}
    if descriptors:
        facts.update(_defect_facts("descriptor", decoded.defects))
        facts.update(_defect_facts("class_descriptor", specific.defects))
    if bos_descriptors:
        facts.update(_defect_facts("bos_descriptor", bos.defects))
    return Described(functions=union(_functions(decoded, specific)), facts=facts)


def _defect_facts(of: str, defects: Sequence[Defect]) -> Dict[str, Fact]:
    if not defects:
        return {}
    first = defects[0]
    return {f"{of}_defects": len(defects), f"first_{of}_defect": f"offset {first.offset}: {first.problem}"}


def _functions(decoded: Descriptors, specific: ClassSpecific) -> List[str]:
    """By the class triples first; a communications device whose triples do not tell, by its functional descriptors."""
    triples = [
        interface.class_triple for configuration in decoded.configurations for interface in configuration.interfaces
    ]
    if decoded.device is not None:
        triples.append(decoded.device.class_triple)
    told = [function for triple in triples for function in functions_of(*triple)]
    if {"ethernet", "wwan"} & set(told):
        return told
    names = {descriptor.name for descriptor in specific.of("communications")}
    carried = next((functions for name, functions in _FUNCTIONAL.items() if name in names), ())
    return [*told, *carried]


def _can_kbps(decoded: Descriptors, specific: ClassSpecific, bos: Bos) -> int:
    """The fastest speed that the device claims, 0 when it claims none."""
    claims = [*_capability_kbps(bos)]
    if specific.of("companion"):
        claims.append(SUPERSPEED_KBPS)
    if decoded.device is not None and decoded.device.bcd_usb >= _FIRST_SUPERSPEED_RELEASE:
        claims.append(SUPERSPEED_KBPS)
    return max(claims, default=0)


def _capability_kbps(bos: Bos) -> Iterator[int]:
    """The speeds of the SuperSpeed and SuperSpeedPlus capabilities; of a sublink, the speed of one lane."""
    for capability in bos.capabilities:
        if capability.name == "SuperSpeed":
            supported = capability.number("wSpeedSupported") or 0
            yield from (kbps for bit, kbps in _SPEEDS_SUPPORTED if supported & bit)
        elif capability.name == "SuperSpeedPlus":
            for speed in capability.numbers("bmSublinkSpeedAttr"):
                yield (speed >> 16 & 0xFF) * _EXPONENTS_KBPS[speed >> 4 & 0x03]
