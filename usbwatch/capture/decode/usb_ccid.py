"""The class descriptor of smart card readers.

[from memory] Source: CCID 1.1 section 5.1, "Smart Card Device Class Descriptor"; the kernel's headers
have no layout of it. It was held against a card reader's own bytes, whose
length, clock and slot size come out right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Dict, Tuple

from usbwatch.capture.decode.class_values import ClassDescriptor
from usbwatch.capture.decode.layout import Layout, number

__all__ = ["FUNCTIONAL", "CardReader", "card_reader"]

FUNCTIONAL: Dict[int, Layout] = {
    0x21: Layout(
        "smart card reader",
        (
            number("bcdCCID", 2),
            number("bMaxSlotIndex"),
            number("bVoltageSupport"),
            number("dwProtocols", 4),
            number("dwDefaultClock", 4),
            number("dwMaximumClock", 4),
            number("bNumClockSupported"),
            number("dwDataRate", 4),
            number("dwMaxDataRate", 4),
            number("bNumDataRatesSupported"),
            number("dwMaxIFSD", 4),
            number("dwSynchProtocols", 4),
            number("dwMechanical", 4),
            number("dwFeatures", 4),
            number("dwMaxCCIDMessageLength", 4),
            number("bClassGetResponse"),
            number("bClassEnvelope"),
            number("wLcdLayout", 2),
            number("bPINSupport"),
            number("bMaxCCIDBusySlots"),
        ),
    )
}
"""By bDescriptorType."""

_VOLTAGES = ((0x01, "5 V"), (0x02, "3 V"), (0x04, "1.8 V"))
_PROTOCOLS = ((0x01, "T=0"), (0x02, "T=1"))


@dataclass(frozen=True, slots=True, kw_only=True)
class CardReader:
    """What a smart card reader says it can do."""

    slot_count: int
    """bMaxSlotIndex and 1."""
    voltages: Tuple[str, ...]
    """That it gives a card."""
    protocols: Tuple[str, ...]
    """That it speaks to a card."""
    default_clock_khz: int


def card_reader(descriptor: ClassDescriptor) -> CardReader | None:
    """The reader that a class descriptor describes, None when it is no whole one."""
    slots, voltages = descriptor.number("bMaxSlotIndex"), descriptor.number("bVoltageSupport")
    protocols, clock = descriptor.number("dwProtocols"), descriptor.number("dwDefaultClock")
    if slots is None or voltages is None or protocols is None or clock is None:
        return None
    return CardReader(
        slot_count=slots + 1,
        voltages=tuple(name for bit, name in _VOLTAGES if voltages & bit),
        protocols=tuple(name for bit, name in _PROTOCOLS if protocols & bit),
        default_clock_khz=clock,
    )
