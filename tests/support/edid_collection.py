"""An open collection of EDIDs, and what the reference decoder says of each.

Both are of the source package edid-decode (Debian and Ubuntu; MIT licence):
its folder ``data`` holds the EDIDs of some hundred displays, and the program
is kept beside the kernel's media tools. ``apt-get source`` fetches the
package; ``.ci/run`` puts it into ``build/edid``. The displays are real, so
they are named by digests and nothing of them is kept here.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
import tarfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from support.needs import needed_file, needed_tool

__all__ = ["Extension", "Told", "collection", "extensions", "told"]

_FOLDER = Path(__file__).parents[2] / "build" / "edid"
_ARCHIVE = "edid-decode_*.orig.tar.*"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the reference decoder prints of a base block; "" and None where it prints nothing."""

    version: str
    maker: str
    product_code: int | None
    serial_number: int
    week: int | None
    year: int | None
    model_year: bool
    size_cm: tuple[int, int] | None
    preferred: tuple[int, int, bool, float, float] | None
    """Width, height of a frame, interlaced, MHz, Hz."""
    name: str
    serial_text: str
    extensions: int
    checksum: int
    checksum_good: bool


def collection() -> Mapping[str, bytes]:
    """The EDIDs by the first digits of their SHA-256; each kind of bytes once."""
    found = sorted(_FOLDER.glob(_ARCHIVE))
    path = needed_file((str(found[0] if found else _FOLDER / _ARCHIVE),), "edid-decode (its source)")
    with tarfile.open(path) as archive:
        files = [archive.extractfile(one) for one in archive if one.isfile() and "/data/" in one.name]
        contents = [file.read() for file in files if file is not None]
    return {hashlib.sha256(data).hexdigest()[:12]: data for data in contents}


def told(data: bytes) -> Told:
    """What the reference decoder says of an EDID."""
    program = needed_tool("edid-decode", "edid-decode")
    done = subprocess.run([program, "--skip-hex-dump"], input=data, capture_output=True, check=False)
    block = done.stdout.decode("utf-8", "replace").partition("\n----------------\n")[0]
    week, year, model_year = _made(block)
    checksum, should = _all(block, r"^Checksum: 0x([0-9a-f]{2})(?: \(should be 0x([0-9a-f]{2})\))?") or ("", "")
    return Told(
        version=_one(block, r"Version & Revision: ([\d.]+)"),
        maker=_one(block, r"Manufacturer: ([A-Z]{3})$"),
        product_code=int(_one(block, r"Model: (\d+)") or -1),
        serial_number=int((_one(block, r"^    Serial Number: (\d+)") or "0").split()[0]),
        week=week,
        year=year,
        model_year=model_year,
        size_cm=_size(block),
        preferred=_timing(block),
        name=_one(block, r"Display Product Name: '(.*)'$"),
        serial_text=_one(block, r"Display Product Serial Number: '(.*)'$"),
        extensions=int(_one(block, r"Extension blocks: (\d+)") or 0),
        checksum=int(checksum, 16),
        checksum_good=not should,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Extension:
    """What the reference decoder prints of an extension block."""

    data_blocks: tuple[str, ...]
    """Their names, without what it adds of the maker or the tag."""
    timings: int
    """Detailed timings of a CTA extension."""


def extensions(data: bytes) -> list[Extension]:
    """What the reference decoder says of the extension blocks of an EDID, in their order."""
    program = needed_tool("edid-decode", "edid-decode")
    done = subprocess.run([program, "--skip-hex-dump"], input=data, capture_output=True, check=False)
    blocks = done.stdout.decode("utf-8", "replace").split("\nBlock ")[1:]
    return [
        Extension(
            data_blocks=tuple(
                re.sub(r" \(.*|, OUI.*| *:$", "", name)
                for name in re.findall(r"^  (\S.*Data Block.*)$", block, re.MULTILINE)
            ),
            timings=len(re.findall(r"^    DTD +\d+:", block, re.MULTILINE)),
        )
        for block in blocks
    ]


def _all(block: str, pattern: str) -> tuple[str, ...]:
    found = re.search(pattern, block, re.MULTILINE)
    return tuple(group or "" for group in found.groups()) if found else ()


def _one(block: str, pattern: str) -> str:
    return next(iter(_all(block, pattern)), "")


def _made(block: str) -> tuple[int | None, int | None, bool]:
    model = _one(block, r"Model year: (\d+)")
    if model:
        return None, int(model), True
    week, year = _all(block, r"Made in: (?:week (\d+) of )?(\d+)") or ("", "")
    return int(week) if week else None, int(year) if year else None, False


def _size(block: str) -> tuple[int, int] | None:
    size = _all(block, r"Maximum image size: (\d+) cm x (\d+) cm")
    return (int(size[0]), int(size[1])) if size else None


def _timing(block: str) -> tuple[int, int, bool, float, float] | None:
    timing = _all(block, r"DTD 1: +(\d+)x(\d+)(i?) +([\d.]+) Hz .* ([\d.]+) MHz")
    if not timing:
        return None
    width, height, interlaced, hertz, megahertz = timing
    return int(width), int(height), bool(interlaced), float(megahertz), float(hertz)
