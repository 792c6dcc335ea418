"""Every byte of a raw block told: descriptor by descriptor, field by field.

The front of the ``unfold_*`` modules. Decoders give what comparison needs;
this gives a person what stands in the bytes, at which offset.
"""

from __future__ import annotations

from typing import Callable, Dict, Tuple

from usbwatch.capture.decode.unfold_edid import unfolded_edid
from usbwatch.capture.decode.unfold_hid import unfolded_report
from usbwatch.capture.decode.unfold_smbios import unfolded_smbios
from usbwatch.capture.decode.unfold_usb import unfolded_bos, unfolded_descriptors
from usbwatch.capture.decode.unfolded import DEFECT, Row, Unfolded, completed, undecoded

__all__ = ["BLOCKS", "LONGEST", "Row", "Unfolded", "unfold"]

LONGEST = 64 * 1024
"""Bytes of a block that are decoded at most: no block that a kernel shows is longer."""

BLOCKS: Dict[str, Callable[[bytes], Tuple[Unfolded, ...]]] = {
    "bos_descriptors": unfolded_bos,
    "descriptors": unfolded_descriptors,
    "edid": unfolded_edid,
    "report_descriptor": unfolded_report,
    "smbios": unfolded_smbios,
}
"""By the name of the raw block, a key of ``Node.raw``."""


def unfold(name: str, data: bytes) -> Tuple[Unfolded, ...]:
    """The descriptors of a raw block, in the order of its bytes. Raises nothing.

    Every byte is in one row, of a field or of what was not decoded; what is
    wrong stands as a row of its own where it is. A block of an unknown name is
    one piece that was not decoded, and so is what lies beyond ``LONGEST``.
    """
    unfolded = BLOCKS.get(name)
    return (*unfolded(data[:LONGEST]), *_beyond(data)) if unfolded else completed(data, (), ())


def _beyond(data: bytes) -> Tuple[Unfolded, ...]:
    rest = data[LONGEST:]
    if not rest:
        return ()
    problem = f"the block is longer than {LONGEST} bytes: the rest is not decoded"
    told = Row(kind=DEFECT, offset=LONGEST, length=0, name="", hex="", value=problem)
    rows = (undecoded(LONGEST, rest, LONGEST), told)
    return (Unfolded(offset=LONGEST, length=len(rest), name="", rows=rows),)
