"""Ten thousand damaged descriptors, EDIDs, SMBIOS tables and HID report descriptors.

Each is cut, or has bits flipped, or both, by a seeded draw. No decoder raises;
each gives values, or a defect that names its offset, and never nothing at all.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.hex_files import bytes_of

from usbwatch.capture.decode import (
    Defect,
    class_specific,
    edid,
    hid_report,
    smbios,
    usb_bos,
    usb_descriptors,
    usb_hub,
)

DATA = Path(__file__).parent / "data"
CASES_OF_A_KIND = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What a decoder gave: whether any value, and what was wrong."""

    values: bool
    defects: tuple[Defect, ...]


def _descriptors(data: bytes) -> Heard:
    decoded = usb_descriptors.decode(data)
    specific = class_specific.decode(decoded)
    return Heard(
        values=bool(decoded.device or decoded.configurations or decoded.others),
        defects=(*decoded.defects, *specific.defects),
    )


def _bos(data: bytes) -> Heard:
    decoded = usb_bos.decode(data)
    return Heard(values=bool(decoded.store or decoded.capabilities), defects=decoded.defects)


def _hub(data: bytes) -> Heard:
    descriptor, defects = usb_hub.decode(data)
    return Heard(values=descriptor is not None, defects=tuple(defects))


def _edid(data: bytes) -> Heard:
    decoded = edid.decode(data)
    return Heard(values=decoded.checksum_good is not None, defects=decoded.defects)


def _report(data: bytes) -> Heard:
    decoded = hid_report.decode(data)
    return Heard(values=bool(decoded.applications), defects=decoded.defects)


def _smbios(data: bytes) -> Heard:
    decoded = smbios.decode(data)
    return Heard(values=bool(decoded.structures), defects=decoded.defects)


# Constructed by ch9.h and ch11.h, as in the tests of these decoders.
BOS = bytes.fromhex(
    "05 0f 3a 00 03 07 10 02 06 00 00 00 14 10 0a 00 01 00 00 00 00 11 00 00 34 40 0a 00 b4 40 0a 00"
    "1a 10 05 00 df 60 dd d8 89 45 c7 4c 9c d2 65 9d 9e 64 8a 9f 00 00 03 06 b2 00"
)
HUB = bytes.fromhex("09 29 04 0d 00 32 64 0e ff")


def _files(pattern: str) -> tuple[bytes, ...]:
    found = tuple(bytes_of(path) for path in sorted(DATA.rglob(pattern)))
    assert found, pattern
    return found


KINDS: dict[str, tuple[Callable[[bytes], Heard], tuple[bytes, ...]]] = {
    "USB descriptors with class-specific ones": (_descriptors, _files("*.descriptors.hex")),
    "BOS": (_bos, (BOS,)),
    "hub descriptor": (_hub, (HUB,)),
    "EDID": (_edid, _files("*.edid.hex")),
    "HID report descriptor": (_report, _files("*.report_descriptor.hex")),
    "SMBIOS table": (_smbios, _files("*.smbios.hex")),
}


def _damaged(kind: str, samples: tuple[bytes, ...]) -> Iterable[bytes]:
    draw = random.Random(kind)
    for _ in range(CASES_OF_A_KIND):
        whole = draw.choice(samples)
        data = bytearray(whole[: draw.choice((len(whole), draw.randrange(len(whole))))])
        for _ in range(draw.randrange(8) if data else 0):
            data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
        if data != whole:
            yield bytes(data)


@pytest.mark.parametrize(("hear", "samples"), KINDS.values(), ids=KINDS)
def test_no_decoder_falls_silent(hear: Callable[[bytes], Heard], samples: tuple[bytes, ...]) -> None:
    cases = list(_damaged(hear.__name__, samples))
    assert len(cases) > CASES_OF_A_KIND * 9 // 10
    for data in cases:
        heard = hear(data)
        assert heard.values or heard.defects, data.hex()
        for defect in heard.defects:
            assert 0 <= defect.offset <= len(data), data.hex()
            assert defect.problem, data.hex()
            assert defect.problem.isprintable(), data.hex()


def test_there_are_ten_thousand_of_them() -> None:
    assert sum(len(list(_damaged(hear.__name__, samples))) for hear, samples in KINDS.values()) > 10_000
