"""What no decoder may do, whatever it is given: raise, lose a byte, or call damaged bytes whole."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.hex_files import bytes_of

from usbwatch.capture.decode import edid, hid_report, usb_descriptors
from usbwatch.capture.decode.usb_descriptors import Descriptors

DATA = Path(__file__).parent / "data"
DECODERS: dict[str, Callable[[bytes], Any]] = {
    "descriptors": usb_descriptors.decode,
    "report_descriptor": hid_report.decode,
    "edid": edid.decode,
}
SAMPLES = [
    pytest.param(DECODERS[path.name.split(".")[1]], bytes_of(path), id=path.name.removesuffix(".hex"))
    for path in sorted(DATA.glob("*.hex"))
]


def values(value: object) -> list[Any]:
    """Every value inside, each once."""
    found: dict[int, Any] = {}
    waiting = [value]
    while waiting:
        inner = waiting.pop()
        if isinstance(inner, tuple):
            waiting.extend(inner)
            if hasattr(inner, "_fields"):
                found[id(inner)] = inner
        elif is_dataclass(inner) and id(inner) not in found:
            found[id(inner)] = inner
            waiting.extend(getattr(inner, field.name) for field in fields(inner))
    return list(found.values())


def check(decoded: object, data: bytes) -> None:
    """Every place lies within the input, every problem is printable, defects stand by offset."""
    placed = [value for value in values(decoded) if hasattr(value, "offset")]
    assert all(0 <= value.offset <= len(data) for value in placed)
    problems = [value for value in placed if hasattr(value, "problem")]
    assert all(value.problem and value.problem.isprintable() for value in problems)
    offsets = [defect.offset for defect in decoded.defects]  # type: ignore[attr-defined]
    assert offsets == sorted(offsets)
    if isinstance(decoded, Descriptors):
        assert owners(decoded, len(data)) == [1] * len(data)


def owners(decoded: Descriptors, length: int) -> list[int]:
    """How many descriptors and defects each byte belongs to."""
    counts = [0] * length
    for value in values(decoded):
        if hasattr(value, "offset"):
            for offset in range(value.offset, value.offset + value.length):
                counts[offset] += 1
    return counts


@pytest.mark.parametrize(("decode", "data"), SAMPLES)
def test_the_samples_are_whole(decode: Callable[[bytes], Any], data: bytes) -> None:
    decoded = decode(data)
    check(decoded, data)
    assert decoded.defects == ()


@pytest.mark.parametrize(("decode", "data"), SAMPLES)
def test_cut_at_every_length_a_sample_is_never_called_whole(decode: Callable[[bytes], Any], data: bytes) -> None:
    for length in range(len(data)):
        decoded = decode(data[:length])
        check(decoded, data[:length])
        assert decoded.defects, f"{length} bytes"


@pytest.mark.parametrize(("decode", "data"), SAMPLES)
def test_every_single_bit_may_flip(decode: Callable[[bytes], Any], data: bytes) -> None:
    for position in range(len(data) * 8):
        flipped = bytearray(data)
        flipped[position // 8] ^= 1 << position % 8
        check(decode(bytes(flipped)), bytes(flipped))


def test_no_single_bit_of_an_edid_flips_unnoticed() -> None:
    whole = bytes_of(DATA / "connector.edid.hex")
    for position in range(edid.BLOCK * 8):
        flipped = bytearray(whole)
        flipped[position // 8] ^= 1 << position % 8
        assert edid.decode(bytes(flipped)).checksum_good is False


@pytest.mark.properties
@pytest.mark.parametrize("decode", DECODERS.values(), ids=DECODERS)
@given(data=st.binary(max_size=512))
def test_random_bytes(decode: Callable[[bytes], Any], data: bytes) -> None:
    check(decode(data), data)


@pytest.mark.properties
@pytest.mark.parametrize(("decode", "data"), SAMPLES)
@given(draw=st.data())
def test_several_bytes_replaced(decode: Callable[[bytes], Any], data: bytes, draw: st.DataObject) -> None:
    damaged = bytearray(data)
    for position, byte in draw.draw(
        st.dictionaries(st.integers(0, len(data) - 1), st.integers(0, 255), max_size=6)
    ).items():
        damaged[position] = byte
    check(decode(bytes(damaged)), bytes(damaged))


# Random bytes seldom make a bLength that leads on; descriptors of random type and content do.
descriptor_types = st.sampled_from([0x01, 0x02, 0x04, 0x05, 0x0B, 0x21, 0x24, 0x30]) | st.integers(0, 255)


@st.composite
def any_descriptor(draw: st.DrawFn) -> bytes:
    kind = draw(descriptor_types)
    body = draw(st.binary(max_size=20))
    return bytes([2 + len(body), kind]) + body


@pytest.mark.properties
@given(st.lists(any_descriptor(), max_size=40).map(b"".join), st.binary(max_size=3))
def test_descriptors_in_any_order(chain: bytes, rest: bytes) -> None:
    check(usb_descriptors.decode(chain + rest), chain + rest)
