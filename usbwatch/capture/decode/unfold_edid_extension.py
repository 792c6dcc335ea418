"""The extension blocks of an EDID: CTA-861 and DisplayID by their data blocks, any other by its tag alone.

A data block stands as one row with its name, its place and its bytes; what is
in it is not told. Layouts and tags: CTA-861 section 7.5 and VESA DisplayID
1.3 and 2.0 as the kernel has them (``CTA_DB_…`` and ``CTA_EXT_DB_…`` in
drivers/gpu/drm/drm_edid.c, ``DATA_BLOCK_…`` in drm_displayid_internal.h), from
memory; the names are held against a reference decoder.
"""

from __future__ import annotations

from typing import Callable, Dict, Iterator, List, Tuple

from usbwatch.capture.decode import edid
from usbwatch.capture.decode.class_values import FieldValue
from usbwatch.capture.decode.unfolded import DEFECT, FIELD, Row, Unfolded, undecoded

__all__ = ["unfolded_extension"]

_CTA, _DISPLAY_ID = 0x02, 0x70
_EXTENSIONS = {_CTA: "CTA extension", 0x40: "DI extension", _DISPLAY_ID: "DisplayID extension", 0xF0: "block map"}
"""By the tag that an extension begins with: CEA_EXT, DI_EXT and DISPLAYID_EXT in drm_edid.h; 0xF0 from memory."""

_CTA_BLOCKS: Dict[int, str] = {
    1: "Audio Data Block",
    2: "Video Data Block",
    3: "Vendor-Specific Data Block",
    4: "Speaker Allocation Data Block",
    5: "VESA Display Transfer Characteristics Data Block",
}
_EXTENDED = 7
"""The tag code whose kind stands in the byte after it."""
_CTA_EXTENDED_BLOCKS: Dict[int, str] = {
    0x00: "Video Capability Data Block",
    0x01: "Vendor-Specific Video Data Block",
    0x05: "Colorimetry Data Block",
    0x06: "HDR Static Metadata Data Block",
    0x07: "HDR Dynamic Metadata Data Block",
    0x0D: "Video Format Preference Data Block",
    0x0E: "YCbCr 4:2:0 Video Data Block",
    0x0F: "YCbCr 4:2:0 Capability Map Data Block",
    0x11: "Vendor-Specific Audio Data Block",
    0x13: "Room Configuration Data Block",
    0x14: "Speaker Location Data Block",
    0x20: "InfoFrame Data Block",
    0x78: "HDMI Forum EDID Extension Override Data Block",
    0x79: "HDMI Forum Sink Capability Data Block",
}
_DISPLAY_ID_BLOCKS: Dict[int, str] = {
    0x00: "Product Identification Data Block",
    0x01: "Display Parameters Data Block",
    0x02: "Color Characteristics Data Block",
    0x03: "Type 1 Detailed Timing Data Block",
    0x04: "Type 2 Detailed Timing Data Block",
    0x05: "Type 3 Short Timing Data Block",
    0x06: "Type 4 DMT Timing Data Block",
    0x07: "VESA Timing Data Block",
    0x09: "Video Timing Range Data Block",
    0x0A: "Product Serial Number Data Block",
    0x0B: "GP ASCII String Data Block",
    0x0C: "Display Device Data Block",
    0x0D: "Interface Power Sequencing Data Block",
    0x0E: "Transfer Characteristics Data Block",
    0x0F: "Display Interface Data Block",
    0x10: "Stereo Display Interface Data Block",
    0x12: "Tiled Display Topology Data Block",
    0x20: "Product Identification Data Block",
    0x21: "Display Parameters Data Block",
    0x22: "Type 7 Detailed Timing Data Block",
    0x25: "Dynamic Video Timing Range Limits Data Block",
    0x26: "Display Interface Features Data Block",
    0x28: "Tiled Display Topology Data Block",
    0x29: "ContainerID Data Block",
    0x7E: "Vendor-Specific Data Block",
    0x7F: "Vendor-Specific Data Block",
    0x81: "CTA-861 DisplayID Data Block",
}
"""As the tags are named in drm_displayid.h; those from 0x20 on (DisplayID 2) from memory."""

_CHECKSUM = edid.BLOCK - 1
_TIMING = 18
_CTA_HEAD = 4
_DISPLAY_ID_HEAD = 5
"""The extension's tag, then the section's version, its bytes, what the product is, and further sections."""
_DISPLAY_ID_BLOCK_HEAD = 3
"""Tag, revision, and how many bytes follow."""


def unfolded_extension(data: bytes, start: int) -> Unfolded:
    """The extension block that begins at ``start`` of a whole EDID. Raises nothing."""
    block = data[start : start + edid.BLOCK]
    extension = _Extension(block, start)
    extension.field("Extension Tag", 1, meaning=_EXTENSIONS.get(block[0], ""))
    if len(block) == edid.BLOCK:
        reads_on = _INSIDE.get(block[0])
        if reads_on:
            reads_on(extension)
        extension.pass_over(_CHECKSUM)
        extension.field("Checksum", 1, meaning="adds up" if sum(block) % 256 == 0 else "does not add up")
    extension.pass_over(len(block))
    return Unfolded(offset=start, length=len(block), name="EDID extension block", rows=tuple(extension.rows))


class _Extension:
    """Takes one field after the other off an extension block."""

    def __init__(self, block: bytes, start: int) -> None:
        self.block = block
        self.start = start
        self.at = 0
        self.rows: List[Row] = []

    def field(self, name: str, length: int, *, meaning: str = "", bits: bool = False) -> None:
        """The next bytes, as a number or as bits; there must be that many."""
        raw = self.block[self.at : self.at + length]
        value: FieldValue = raw.hex() if bits else int.from_bytes(raw, "little")
        offset = self.start + self.at
        self.rows.append(
            Row(kind=FIELD, offset=offset, length=length, name=name, hex=raw.hex(), value=value, meaning=meaning)
        )
        self.at += length

    def pass_over(self, end: int) -> None:
        """What is left up to ``end``: undecoded, where it is anything."""
        if self.at < end:
            self.rows.append(undecoded(self.start + self.at, self.block[self.at : end], self.start + self.at))
            self.at = end

    def wrong(self, problem: str) -> None:
        """What is wrong with the next bytes."""
        self.rows.append(Row(kind=DEFECT, offset=self.start + self.at, length=0, name="", hex="", value=problem))


def _cta(extension: _Extension) -> None:
    """Revision, the offset of the timings, a byte of flags; data blocks up to the timings (revision 3); timings."""
    block = extension.block
    extension.field("Revision Number", 1)
    timings = block[2]
    extension.field("Offset of Detailed Timings", 1, meaning="" if timings else "no timing and no data block")
    extension.field("Flags and Native Timings", 1, bits=True)
    if not timings:
        return
    if not _CTA_HEAD <= timings <= _CHECKSUM:
        extension.wrong(f"the timings begin at {timings}, outside the block's {_CTA_HEAD} to {_CHECKSUM}")
        return
    while extension.at < timings:
        head = block[extension.at]
        length = 1 + (head & 0x1F)
        if length > timings - extension.at:
            extension.wrong(f"a data block of {length} bytes, but only {timings - extension.at} are before the timings")
            extension.pass_over(timings)
            break
        extension.field(_cta_name(block[extension.at : extension.at + length]), length, bits=True)
    for number in range(1, (_CHECKSUM - timings) // _TIMING + 1):
        raw = block[extension.at : extension.at + _TIMING]
        if not any(raw):  # zeros fill the block up
            break
        if raw[0] or raw[1]:
            extension.field(f"Detailed Timing {number}", _TIMING, meaning=edid.timing_words(raw), bits=True)
        else:
            extension.field(f"Display Descriptor {number}", _TIMING, bits=True)


def _cta_name(raw: bytes) -> str:
    code = raw[0] >> 5
    if code != _EXTENDED:
        return _CTA_BLOCKS.get(code, f"data block of tag {code}")
    if len(raw) == 1:
        return "data block of an extended tag that is not there"
    return _CTA_EXTENDED_BLOCKS.get(raw[1], f"data block of extended tag {raw[1]:02x}")


def _display_id(extension: _Extension) -> None:
    """One section: its head, its data blocks, its checksum."""
    block = extension.block
    version = block[1]
    extension.field("Version and Revision", 1, meaning=f"{version >> 4}.{version & 0x0F}")
    extension.field("Bytes in Section", 1)
    extension.field("Product Type or Primary Use", 1)
    extension.field("Extension Count", 1)
    end = _DISPLAY_ID_HEAD + block[2]
    if end >= _CHECKSUM:
        extension.wrong(f"a section of {block[2]} bytes does not fit into the block")
        return
    for length, name in _display_id_blocks(block, end):
        extension.field(name, length, bits=True)
    extension.pass_over(end)
    good = sum(block[1 : end + 1]) % 256 == 0
    extension.field("Section Checksum", 1, meaning="adds up" if good else "does not add up")


def _display_id_blocks(block: bytes, end: int) -> Iterator[Tuple[int, str]]:
    """Length and name of each data block; zeros fill a section up."""
    at = _DISPLAY_ID_HEAD
    while at + _DISPLAY_ID_BLOCK_HEAD <= end and any(block[at : at + _DISPLAY_ID_BLOCK_HEAD]):
        length = _DISPLAY_ID_BLOCK_HEAD + block[at + 2]
        if at + length > end:
            return
        yield length, _DISPLAY_ID_BLOCKS.get(block[at], f"data block of tag {block[at]:02x}")
        at += length


_INSIDE: Dict[int, Callable[[_Extension], None]] = {_CTA: _cta, _DISPLAY_ID: _display_id}
"""By tag, what reads on after it."""
