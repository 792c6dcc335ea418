"""What a display says of itself: the EDID base block.

The layout of its 128 bytes is VESA's E-EDID, release A, read in the kernel's
``include/drm/drm_edid.h``; section numbers are from memory. Extension blocks
are counted, not decoded.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Dict, List, Tuple

from usbwatch.capture.decode.defect import Defect

__all__ = ["BLOCK", "Edid", "Timing", "decode", "text", "timing", "timing_words"]

BLOCK = 128
"""Bytes of the base block, and of each extension block."""

_HEADER = bytes.fromhex("00ffffffffffff00")
_MAKER = 8
_PRODUCT = slice(10, 12)
_SERIAL = slice(12, 16)
_WEEK = 16
_YEAR = 17
_VERSION = 18
_REVISION = 19
_WIDTH = 21
_HEIGHT = 22
_EXTENSIONS = 126

_DESCRIPTORS = (54, 72, 90, 108)
"""Where the four 18-byte descriptors stand."""
_DESCRIPTOR_SIZE = 18
_SERIAL_TEXT = 0xFF
_TEXT = 0xFE
_NAME = 0xFC

_YEAR_ZERO = 1990
_WEEKS = 54
_IS_MODEL_YEAR = 0xFF
"""In place of a week: the year is the model year."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """A detailed timing."""

    width: int
    """Pixels of a line."""
    height: int
    """Lines of a frame; of a field, when interlaced."""
    total_width: int
    """The same with blanking."""
    total_height: int
    pixel_clock_khz: int
    interlaced: bool

    @property
    def refresh_hz(self) -> float:
        """Frames (fields, when interlaced) per second; 0 when the timing has no extent."""
        total = self.total_width * self.total_height
        return self.pixel_clock_khz * 1000 / total if total else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Edid:
    """The base block. A field is None (a text: "") where the block ends before it or names none."""

    maker: str = ""
    """Three capital letters, the maker's PNP id."""
    product_code: int | None = None
    serial_number: int | None = None
    """0 when the maker gives none."""
    week: int | None = None
    """Of manufacture, 1 to 54; None also when not given."""
    year: int | None = None
    """Of manufacture; of the model, when ``model_year``."""
    model_year: bool = False
    version: str = ""
    """``1.4``: version and revision of EDID."""
    width_cm: int | None = None
    """Of the picture. None also when the display does not say."""
    height_cm: int | None = None
    preferred: Timing | None = None
    """The first detailed timing."""
    name: str = ""
    """Product name, descriptor 0xFC. This and the other texts are printable: what is not ASCII text is escaped."""
    serial_text: str = ""
    """Serial number as text, descriptor 0xFF."""
    texts: Tuple[str, ...] = ()
    """Further texts, descriptor 0xFE."""
    extension_count: int | None = None
    checksum_good: bool | None = None
    """Whether the 128 bytes add up to 0 modulo 256; None when they are not all there."""
    defects: Tuple[Defect, ...] = ()
    """By offset."""

    @property
    def identity(self) -> str:
        """``LNX:002a``: maker and product code as lower-case hex; "" when either is not there."""
        return f"{self.maker}:{self.product_code:04x}" if self.maker and self.product_code is not None else ""


def decode(data: bytes) -> Edid:
    """What an EDID says, as far as its bytes go, and what is wrong with it. Raises nothing."""
    block = data[:BLOCK]
    preferred, texts = _descriptors(block)
    return Edid(
        maker=_maker(block),
        product_code=_number(block, _PRODUCT),
        serial_number=_number(block, _SERIAL),
        week=_week(block),
        year=_YEAR_ZERO + block[_YEAR] if len(block) > _YEAR else None,
        model_year=len(block) > _YEAR and block[_WEEK] == _IS_MODEL_YEAR,
        version=f"{block[_VERSION]}.{block[_REVISION]}" if len(block) > _REVISION else "",
        width_cm=_size_cm(block, _WIDTH),
        height_cm=_size_cm(block, _HEIGHT),
        preferred=preferred,
        name=next(iter(texts[_NAME]), ""),
        serial_text=next(iter(texts[_SERIAL_TEXT]), ""),
        texts=tuple(texts[_TEXT]),
        extension_count=block[_EXTENSIONS] if len(block) > _EXTENSIONS else None,
        checksum_good=sum(block) % 256 == 0 if len(block) == BLOCK else None,
        defects=tuple(_defects(data, preferred)),
    )


def _number(block: bytes, place: slice) -> int | None:
    """A little-endian number, None where the block ends before it does."""
    return int.from_bytes(block[place], "little") if len(block) >= place.stop else None


def _maker(block: bytes) -> str:
    """Three letters of five bits each, 1 for A, big-endian; "" when one of them is no letter."""
    word = int.from_bytes(block[_MAKER : _MAKER + 2], "big") if len(block) >= _MAKER + 2 else 0
    codes = [word >> shift & 0x1F for shift in (10, 5, 0)]
    return "".join(chr(ord("@") + code) for code in codes) if all(1 <= code <= 26 for code in codes) else ""  # noqa: PLR2004


def _week(block: bytes) -> int | None:
    week = block[_WEEK] if len(block) > _WEEK else 0
    return week if 1 <= week <= _WEEKS else None


def _size_cm(block: bytes, place: int) -> int | None:
    """Width or height of the picture; with the other one 0 it is an aspect ratio (EDID 1.4 section 3.6.2)."""
    if len(block) <= _HEIGHT or not (block[_WIDTH] and block[_HEIGHT]):
        return None
    return block[place]


def _descriptors(block: bytes) -> Tuple[Timing | None, Dict[int, List[str]]]:
    """The first detailed timing, and the texts by the tag of their descriptors."""
    preferred = None
    texts: Dict[int, List[str]] = {_NAME: [], _SERIAL_TEXT: [], _TEXT: []}
    for offset in _DESCRIPTORS:
        descriptor = block[offset : offset + _DESCRIPTOR_SIZE]
        if len(descriptor) < _DESCRIPTOR_SIZE:
            break
        if descriptor[0] or descriptor[1]:
            preferred = preferred or timing(descriptor)
        elif descriptor[3] in texts:
            texts[descriptor[3]].append(text(descriptor[5:]))
    return preferred, texts


def timing(descriptor: bytes) -> Timing:
    """A detailed timing (``struct detailed_pixel_timing``): the high four bits of each pair share a byte."""
    width = descriptor[2] | descriptor[4] >> 4 << 8
    height = descriptor[5] | descriptor[7] >> 4 << 8
    return Timing(
        width=width,
        height=height,
        total_width=width + (descriptor[3] | (descriptor[4] & 0x0F) << 8),
        total_height=height + (descriptor[6] | (descriptor[7] & 0x0F) << 8),
        pixel_clock_khz=int.from_bytes(descriptor[:2], "little") * 10,
        interlaced=bool(descriptor[17] & 0x80),
    )


def timing_words(descriptor: bytes) -> str:
    """A detailed timing as one phrase."""
    told = timing(descriptor)
    interlaced = ", interlaced" if told.interlaced else ""
    return f"timing {told.width} x {told.height} at {told.refresh_hz:.2f} Hz{interlaced}"


def text(raw: bytes) -> str:
    """The text of a descriptor: up to its line feed, without the spaces that fill it."""
    line = raw.partition(b"\n")[0].rstrip(b" \0")
    return "".join(chr(byte) if 0x20 <= byte < 0x7F else f"\\x{byte:02x}" for byte in line)  # noqa: PLR2004


def _defects(data: bytes, preferred: Timing | None) -> List[Defect]:
    """What is wrong, by offset."""
    if not data:
        return [Defect(offset=0, problem="no bytes at all")]
    defects = []
    if not data.startswith(_HEADER[: len(data)]):
        defects.append(Defect(offset=0, problem="does not start with 00 ff ff ff ff ff ff 00"))
    if len(data) < BLOCK:
        problem = f"ends after {len(data)} of {BLOCK} bytes"
        return [*defects, Defect(offset=len(data), problem=problem)]
    return [*defects, *_block_defects(data, preferred), *_extent_defects(data)]


def _block_defects(block: bytes, preferred: Timing | None) -> List[Defect]:
    """What is wrong with the fields of a base block that is all there."""
    defects = []
    if not _maker(block):
        problem = f"maker {block[_MAKER]:02x} {block[_MAKER + 1]:02x} is not three letters"
        defects.append(Defect(offset=_MAKER, problem=problem))
    if block[_WEEK] > _WEEKS and block[_WEEK] != _IS_MODEL_YEAR:
        defects.append(Defect(offset=_WEEK, problem=f"week {block[_WEEK]} of the year"))
    if block[_VERSION] != 1:
        defects.append(Defect(offset=_VERSION, problem=f"version {block[_VERSION]}, of which no layout is known"))
    if preferred is None:
        defects.append(Defect(offset=_DESCRIPTORS[0], problem="no detailed timing"))
    return defects


def _extent_defects(data: bytes) -> List[Defect]:
    """A wrong checksum, and extension blocks that are not there or not announced."""
    defects = []
    announced = (1 + data[_EXTENSIONS]) * BLOCK
    if announced != len(data):
        problem = f"{data[_EXTENSIONS]} extension blocks make {announced} bytes, found {len(data)}"
        defects.append(Defect(offset=_EXTENSIONS, problem=problem))
    total = sum(data[:BLOCK]) % 256
    if total:
        defects.append(Defect(offset=BLOCK - 1, problem=f"bytes add up to {total} modulo 256, not to 0"))
    return defects
