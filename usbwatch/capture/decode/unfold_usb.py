"""A device's descriptors and its binary device object store, each descriptor with every field."""

from __future__ import annotations

from functools import partial
from typing import Iterator, List, Sequence, Tuple

from usbwatch.capture.decode import class_specific, usb_bos, usb_descriptors
from usbwatch.capture.decode.class_specific import PlacedDescriptor
from usbwatch.capture.decode.class_values import ClassDescriptor
from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.layout import HEAD, read
from usbwatch.capture.decode.meanings import meaning
from usbwatch.capture.decode.unfolded import Meaning, Unfolded, completed, rows_of
from usbwatch.capture.decode.usb_standard import DESCRIPTOR_TYPES, STANDARD, hid_layout

__all__ = ["unfolded_bos", "unfolded_descriptors"]

_HID = 0x21
_FIRST_CLASS_TYPE = 0x20
"""Types below it are the standard's own in every class (USB 2.0 table 9-5; bits 6 and 5: HID 1.11 section 7.1)."""
_SUPERSPEED_RELEASE = 0x0300


def unfolded_descriptors(data: bytes) -> Tuple[Unfolded, ...]:
    """What sysfs ``descriptors`` holds, descriptor by descriptor. Raises nothing."""
    decoded = usb_descriptors.decode(data)
    specific = class_specific.decode(decoded)
    kept = {placed.descriptor.offset: placed for placed in specific.placed}
    superspeed = decoded.device is not None and decoded.device.bcd_usb >= _SUPERSPEED_RELEASE
    pieces = []
    for offset, whole in _stepped(data[: usb_descriptors.LONGEST]):
        placed = kept.get(offset)
        family = placed.family if placed else ""
        means = partial(meaning, family=family, superspeed=superspeed)
        pieces.append(_piece(_descriptor(whole, offset, placed), data, means))
    return completed(data, pieces, _distinct([*decoded.defects, *specific.defects]))


def unfolded_bos(data: bytes) -> Tuple[Unfolded, ...]:
    """What sysfs ``bos_descriptors`` holds, descriptor by descriptor. Raises nothing."""
    bos = usb_bos.decode(data)
    descriptors = (*([bos.store] if bos.store else []), *bos.capabilities)
    return completed(data, [_piece(one, data, meaning) for one in descriptors], bos.defects)


def _stepped(data: bytes) -> Iterator[Tuple[int, bytes]]:
    """Offset and bytes of each descriptor, as far as bLength leads (as in ``usb_descriptors``)."""
    offset = 0
    while offset < len(data) and len(HEAD) <= data[offset] <= len(data) - offset:
        yield offset, data[offset : offset + data[offset]]
        offset += data[offset]


def _descriptor(data: bytes, offset: int, placed: PlacedDescriptor | None) -> ClassDescriptor:
    """One descriptor with its fields; what is wrong with it, ``usb_descriptors`` has said."""
    kind = data[1]
    if placed is not None and (placed.descriptor.name or kind >= _FIRST_CLASS_TYPE):
        return placed.descriptor
    descriptor, _ = read(data, offset, hid_layout(data) if kind == _HID else STANDARD.get(kind))
    return descriptor


def _piece(descriptor: ClassDescriptor, data: bytes, means: Meaning) -> Unfolded:
    kind = data[descriptor.offset + 1]
    return Unfolded(
        offset=descriptor.offset,
        length=descriptor.length,
        name=descriptor.name or DESCRIPTOR_TYPES.get(kind) or f"descriptor of type {kind:02x}",
        rows=rows_of(descriptor, data, means),
    )


def _distinct(defects: Sequence[Defect]) -> List[Defect]:
    """By offset, each once."""
    return sorted(set(defects), key=lambda defect: defect.offset)
