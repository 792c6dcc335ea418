"""SMBIOS type 10, the older record of onboard devices: one structure names several, each in two bytes.

Source: DMTF DSP0134 section 7.11 [from memory]: from offset 04h on, two bytes
a device: bit 7 whether it is enabled, bits 6 to 0 its type, then the number of
its string. The types are the first ten of section 7.42.2 (type 41, which
replaces this one).
"""

from __future__ import annotations

from typing import List, Tuple

from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.smbios_names import ONBOARD_DEVICE_TYPES
from usbwatch.capture.decode.smbios_types import Fields
from usbwatch.capture.decode.smbios_values import OnboardDevice, Structure

__all__ = ["onboard_devices"]

_FIRST = 0x04
_EACH = 2
_TOP_BIT = 0x80
_LAST_TYPE = 0x0A


def onboard_devices(structure: Structure) -> Tuple[Tuple[OnboardDevice, ...], Tuple[Defect, ...]]:
    """The devices of one type 10 structure, and what is wrong with it. Raises nothing."""
    fields = Fields(structure)
    size = len(fields.data)
    devices: List[OnboardDevice] = [_device(fields, at) for at in range(_FIRST, size - 1, _EACH)]
    if (size - _FIRST) % _EACH:
        fields.wrong(size - 1, "half an entry at the end")
    return tuple(devices), tuple(fields.defects)


def _device(fields: Fields, at: int) -> OnboardDevice:
    coded = fields.data[at]
    kind = coded & ~_TOP_BIT
    return OnboardDevice(
        handle=fields.handle,
        reference_designation=fields.text(at + 1),
        device_type=kind,
        device_name=ONBOARD_DEVICE_TYPES.get(kind, "") if kind <= _LAST_TYPE else "",
        enabled=bool(coded & _TOP_BIT),
        instance=None,
        bus_address=None,
    )
