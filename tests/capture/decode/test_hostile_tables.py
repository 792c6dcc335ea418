"""Class-specific descriptors, BOS blocks, hub descriptors and SMBIOS tables, whatever the bytes: nothing raises,
and every byte is accounted for exactly once."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.hex_files import bytes_of

from usbwatch.capture.decode import (
    Defect,
    class_specific,
    smbios,
    usb_audio,
    usb_bos,
    usb_ccid,
    usb_descriptors,
    usb_hub,
    usb_video,
)
from usbwatch.capture.decode.class_values import ClassDescriptor
from usbwatch.capture.decode.usb_values import Descriptors, RawDescriptor

DATA = Path(__file__).parent / "data"
Checker = Callable[[bytes], tuple[Defect, ...]]


def told(defects: Iterable[Defect], length: int) -> tuple[Defect, ...]:
    """The defects, each printable and within the bytes, by offset."""
    found = tuple(defects)
    assert all(defect.problem and defect.problem.isprintable() for defect in found)
    assert all(defect.offset >= 0 and defect.offset + defect.length <= length for defect in found)
    assert [defect.offset for defect in found] == sorted(defect.offset for defect in found)
    return found


def tiled(descriptor: ClassDescriptor, data: bytes) -> None:
    """Fields and rest follow each other without a gap, and the rest is the bytes that are there."""
    at = descriptor.offset
    for field in descriptor.fields:
        assert field.offset == at
        at += field.length
    assert at + len(descriptor.rest) // 2 == descriptor.offset + descriptor.length
    assert bytes.fromhex(descriptor.rest) == data[at : descriptor.offset + descriptor.length]


def once(places: Iterable[tuple[int, int]], length: int) -> None:
    """Every byte lies in exactly one of the places, given as offset and length."""
    at = 0
    for offset, size in sorted(place for place in places if place[1]):
        assert offset == at
        at += size
    assert at == length


def spans(
    values: Iterable[ClassDescriptor] | Iterable[Defect] | Iterable[smbios.Structure],
) -> list[tuple[int, int]]:
    return [(one.offset, one.length) for one in values]


def raw_descriptors(descriptors: Descriptors) -> list[RawDescriptor]:
    found = list(descriptors.others)
    for configuration in descriptors.configurations:
        found += configuration.others
        for interface in configuration.interfaces:
            found += interface.others
            for endpoint in interface.endpoints:
                found += endpoint.others
    return found


def check_class_specific(data: bytes) -> tuple[Defect, ...]:
    descriptors = usb_descriptors.decode(data)
    decoded = class_specific.decode(descriptors)
    for placed in decoded.placed:
        tiled(placed.descriptor, data)
    ours = [(placed.descriptor.offset, placed.descriptor.length) for placed in decoded.placed]
    assert ours == sorted((raw.offset, raw.length) for raw in raw_descriptors(descriptors))
    usb_audio.terminals(decoded.of("audio"))
    assert all(frame.fastest_hz is None or frame.fastest_hz > 0 for frame in usb_video.frames(decoded.of("camera")))
    for reader in decoded.of("smart card"):
        usb_ccid.card_reader(reader)
    for hub in decoded.of("hub"):
        usb_hub.hub(hub)
    return told(decoded.defects, len(data))


def check_bos(data: bytes) -> tuple[Defect, ...]:
    decoded = usb_bos.decode(data)
    descriptors = [*([decoded.store] if decoded.store else []), *decoded.capabilities]
    for descriptor in descriptors:
        tiled(descriptor, data)
    once(spans(descriptors) + spans(decoded.defects), len(data))
    return told(decoded.defects, len(data))


def check_hub(data: bytes) -> tuple[Defect, ...]:
    descriptor, defects = usb_hub.decode(data)
    if descriptor is not None:
        tiled(descriptor, data)
        usb_hub.hub(descriptor)
    once(spans([descriptor] if descriptor else []) + spans(defects), len(data))
    return told(defects, len(data))


def _smbios(decoded: smbios.Smbios, length: int) -> tuple[Defect, ...]:
    padding = (length - decoded.padding, decoded.padding)
    once([*spans(decoded.structures), *spans(decoded.defects), padding], length)
    for structure in decoded.structures:
        assert all(text.isprintable() for text in structure.strings)
        assert 4 <= len(structure.formatted) // 2 <= structure.length
    return told(decoded.defects, length)


def check_table(data: bytes) -> tuple[Defect, ...]:
    return _smbios(smbios.decode(data), len(data))


def check_entry(data: bytes) -> tuple[Defect, ...]:
    return _smbios(smbios.decode_entry(data), len(data))


CHECKERS: dict[str, Checker] = {
    "class-specific": check_class_specific,
    "bos": check_bos,
    "hub": check_hub,
    "smbios table": check_table,
    "smbios entry": check_entry,
}
# Constructed by ch9.h and ch11.h, as in the tests of these decoders.
BOS = bytes.fromhex(
    "05 0f 3a 00 03 07 10 02 06 00 00 00 14 10 0a 00 01 00 00 00 00 11 00 00 34 40 0a 00 b4 40 0a 00"
    "1a 10 05 00 df 60 dd d8 89 45 c7 4c 9c d2 65 9d 9e 64 8a 9f 00 00 03 06 b2 00"
)
HUB = bytes.fromhex("09 29 04 0d 00 32 64 0e ff")
TABLE = bytes_of(DATA / "smbios" / "larch.smbios.hex")
ENTRY = TABLE[61:134]
SAMPLES = [
    *(
        pytest.param(check_class_specific, bytes_of(DATA / f"{name}.descriptors.hex"), id=name)
        for name in ("camera", "audio", "smart-card-reader", "serial-dongle", "root-hub-usb3")
    ),
    pytest.param(check_bos, BOS, id="bos"),
    pytest.param(check_hub, HUB, id="hub"),
    pytest.param(check_table, TABLE, id="smbios table"),
    pytest.param(check_entry, ENTRY, id="smbios entry"),
]


@pytest.mark.parametrize(("check", "data"), SAMPLES)
def test_the_samples_are_whole(check: Checker, data: bytes) -> None:
    assert check(data) == ()


@pytest.mark.parametrize(("check", "data"), SAMPLES)
def test_cut_at_every_length(check: Checker, data: bytes) -> None:
    for length in range(len(data)):
        defects = check(data[:length])
        # What a cut leaves of class-specific descriptors may be whole; usb_descriptors tells of the cut.
        assert defects or check is check_class_specific, f"{length} bytes"


@pytest.mark.parametrize(("check", "data"), SAMPLES)
def test_every_single_bit_may_flip(check: Checker, data: bytes) -> None:
    for position in range(len(data) * 8):
        flipped = bytearray(data)
        flipped[position // 8] ^= 1 << position % 8
        check(bytes(flipped))


@pytest.mark.properties
@pytest.mark.parametrize("check", CHECKERS.values(), ids=CHECKERS)
@given(data=st.binary(max_size=512))
def test_random_bytes(check: Checker, data: bytes) -> None:
    check(data)


@pytest.mark.properties
@pytest.mark.parametrize(("check", "data"), SAMPLES)
@given(draw=st.data())
def test_several_bytes_replaced(check: Checker, data: bytes, draw: st.DataObject) -> None:
    damaged = bytearray(data)
    places = st.dictionaries(st.integers(0, len(data) - 1), st.integers(0, 255), max_size=6)
    for position, byte in draw.draw(places).items():
        damaged[position] = byte
    check(bytes(damaged))


# --- bytes that lead on, with random contents --------------------------------------------

INTERFACES = [(1, 1, 0), (1, 2, 0), (2, 6, 0), (9, 0, 0), (0x0B, 0, 0), (0x0E, 1, 0), (0x0E, 2, 0), (0xFE, 1, 1)]
kinds = st.sampled_from([0x21, 0x24, 0x25, 0x29, 0x2A, 0x30, 0x31])
bodies = st.tuples(st.integers(0, 0x20), st.binary(max_size=60)).map(lambda pair: bytes([pair[0]]) + pair[1])
# Small numbers after the subtype, so that counts fit more often than not.
small_bodies = st.lists(st.integers(0, 4), min_size=1, max_size=60).map(bytes)


@st.composite
def class_descriptor(draw: st.DrawFn) -> bytes:
    body = draw(bodies | small_bodies)
    return bytes([2 + len(body), draw(kinds)]) + body


@st.composite
def class_interface(draw: st.DrawFn) -> bytes:
    triple = draw(st.sampled_from(INTERFACES))
    before = draw(st.lists(class_descriptor(), max_size=6))
    after = draw(st.lists(class_descriptor(), max_size=3))
    return bytes([9, 4, 0, 0, 1, *triple, 0]) + b"".join(before) + bytes([7, 5, 0x81, 3, 8, 0, 1]) + b"".join(after)


@pytest.mark.properties
@given(st.lists(class_interface(), min_size=1, max_size=4).map(b"".join))
def test_any_class_specific_descriptors(interfaces: bytes) -> None:
    check_class_specific(bytes([9, 2, 0, 0, 1, 1, 0, 0x80, 50]) + interfaces)


@st.composite
def capability(draw: st.DrawFn) -> bytes:
    body = draw(bodies | small_bodies)
    return bytes([2 + len(body), draw(st.sampled_from([0x10, 0x10, 0x10, 0x0F, 0x24]))]) + body


@pytest.mark.properties
@given(st.lists(capability(), max_size=8).map(b"".join))
def test_any_capabilities(body: bytes) -> None:
    check_bos(bytes([5, 0x0F, *(5 + len(body)).to_bytes(2, "little"), 3]) + body)


@st.composite
def any_structure(draw: st.DrawFn) -> bytes:
    kind = draw(st.sampled_from([0, 1, 2, 3, 8, 9, 17, 21, 22, 41, 127, 200]))
    body = draw(st.binary(max_size=0x60))
    strings = draw(st.lists(st.binary(min_size=1, max_size=12).map(lambda raw: raw.replace(b"\0", b"?")), max_size=6))
    tail = b"".join(one + b"\0" for one in strings) + b"\0" if strings else b"\0\0"
    return bytes([kind, 4 + len(body), kind, 0]) + body + tail


@pytest.mark.properties
@given(st.lists(any_structure(), max_size=12).map(b"".join), st.binary(max_size=5))
def test_any_structures(chain: bytes, rest: bytes) -> None:
    check_table(chain + rest)
    check_entry(chain + rest)
