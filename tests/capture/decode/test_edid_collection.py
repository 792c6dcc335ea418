"""Every EDID of an open collection decodes as the reference decoder says (see ``support.edid_collection``)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from support.edid_collection import Extension, Told, collection, extensions, told

from usbwatch.capture.decode import edid
from usbwatch.capture.decode.edid import BLOCK, Edid
from usbwatch.capture.decode.unfold import Unfolded, unfold


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    ours: Edid
    theirs: Told


@pytest.fixture(scope="module")
def edids() -> dict[str, bytes]:
    return dict(collection())


@pytest.fixture(scope="module")
def pairs(edids: dict[str, bytes]) -> dict[str, Pair]:
    return {digest: Pair(ours=edid.decode(data), theirs=told(data)) for digest, data in edids.items()}


FIELDS: dict[str, tuple[Callable[[Edid], object], Callable[[Told], object]]] = {
    "version": (lambda ours: ours.version, lambda theirs: theirs.version),
    "maker": (lambda ours: ours.maker, lambda theirs: theirs.maker),
    "product": (lambda ours: ours.product_code, lambda theirs: theirs.product_code),
    "serial number": (lambda ours: ours.serial_number, lambda theirs: theirs.serial_number),
    "date": (
        lambda ours: (ours.week, ours.year, ours.model_year),
        lambda theirs: (theirs.week, theirs.year, theirs.model_year),
    ),
    "size": (
        lambda ours: (ours.width_cm, ours.height_cm),
        lambda theirs: theirs.size_cm or (None, None),
    ),
    # Ours leave out the spaces that fill a text up; the reference decoder prints them.
    "name": (lambda ours: ours.name, lambda theirs: theirs.name.rstrip(" ")),
    "serial text": (lambda ours: ours.serial_text, lambda theirs: theirs.serial_text.rstrip(" ")),
    "extensions": (lambda ours: ours.extension_count, lambda theirs: theirs.extensions),
    "checksum": (lambda ours: ours.checksum_good, lambda theirs: theirs.checksum_good),
    "preferred timing": (
        lambda ours: (
            ours.preferred
            and (
                ours.preferred.width,
                # The reference decoder counts the lines of a frame, EDID those of a field.
                ours.preferred.height * (2 if ours.preferred.interlaced else 1),
                ours.preferred.interlaced,
                pytest.approx(ours.preferred.pixel_clock_khz / 1000),
                pytest.approx(ours.preferred.refresh_hz, abs=1e-5),
            )
        ),
        lambda theirs: theirs.preferred,
    ),
}


@pytest.mark.parametrize(("ours", "theirs"), FIELDS.values(), ids=FIELDS)
def test_a_field_is_as_the_reference_decoder_says(
    pairs: dict[str, Pair], ours: Callable[[Edid], object], theirs: Callable[[Told], object]
) -> None:
    differing = [digest for digest, pair in pairs.items() if ours(pair.ours) != theirs(pair.theirs)]
    assert differing == []


def test_the_collection_has_something_to_say_of_every_field(pairs: dict[str, Pair]) -> None:
    """So that the test above cannot pass by comparing nothing with nothing."""
    all_theirs = [pair.theirs for pair in pairs.values()]
    assert len(all_theirs) > 100
    assert {one.version for one in all_theirs} >= {"1.1", "1.2", "1.3", "1.4"}
    for field in ("serial_number", "week", "year", "model_year", "size_cm", "preferred", "name", "serial_text"):
        assert any(getattr(one, field) for one in all_theirs), field
    assert sum(bool(one.maker) for one in all_theirs) > 100
    assert all(one.product_code is not None for one in all_theirs)
    assert {one.extensions for one in all_theirs} >= {0, 1, 2}


_THEIR_NAMES = {
    "Type 1 Detailed Timing Data Block": "Video Timing Modes Type 1 - Detailed Timings Data Block",
    "Type 2 Detailed Timing Data Block": "Video Timing Modes Type 2 - Detailed Timings Data Block",
    "Type 3 Short Timing Data Block": "Video Timing Modes Type 3 - Short Timings Data Block",
    "Type 4 DMT Timing Data Block": "Video Timing Modes Type 4 - DMT Timings Data Block",
    "Type 7 Detailed Timing Data Block": "Video Timing Modes Type 7 - Detailed Timings Data Block",
    "VESA Timing Data Block": "Supported Timing Modes Type 1 - VESA DMT Timings Data Block",
    "Display Device Data Block": "Display Device Data Data Block",
}
"""Where the reference decoder calls a block otherwise than the kernel's drm_displayid.h does."""


def _ours(piece: Unfolded) -> Extension:
    names = [row.name for row in piece.rows if row.kind == "field"]
    return Extension(
        data_blocks=tuple(_THEIR_NAMES.get(name, name) for name in names if "data block" in name.lower()),
        timings=sum(name.startswith("Detailed Timing ") for name in names),
    )


_NESTING = "CTA-861 DisplayID Data Block"
"""A data block in which the reference decoder names further ones."""


def test_the_data_blocks_of_extensions_are_as_the_reference_decoder_says(edids: dict[str, bytes]) -> None:
    theirs = {digest: extensions(data) for digest, data in edids.items()}
    ours = {digest: [_ours(piece) for piece in unfold("edid", data)[1:]] for digest, data in edids.items()}
    nested = [digest for digest, found in theirs.items() if any(_NESTING in one.data_blocks for one in found)]
    assert len(nested) <= 2
    assert [digest for digest in edids if digest not in nested and ours[digest] != theirs[digest]] == []
    names = {name for found in ours.values() for one in found for name in one.data_blocks}
    assert len(names) > 18, "the collection has something to say of most kinds"
    assert sum(one.timings for found in ours.values() for one in found) > 100


def test_a_damaged_checksum_is_seen_by_both(edids: dict[str, bytes]) -> None:
    for digest, data in list(edids.items())[:25]:
        damaged = data[: BLOCK - 1] + bytes([data[BLOCK - 1] ^ 0x10]) + data[BLOCK:]
        assert (told(damaged).checksum_good, edid.decode(damaged).checksum_good) == (False, False), digest


def test_nothing_of_the_collection_ends_a_decoder(edids: dict[str, bytes]) -> None:
    """Cut at every length, and each bit of the base block flipped."""
    for data in list(edids.values())[::8]:
        for length in range(0, BLOCK, 5):
            assert edid.decode(data[:length]).defects
        for bit in range(0, BLOCK * 8, 3):
            flipped = bytearray(data)
            flipped[bit // 8] ^= 1 << bit % 8
            assert edid.decode(bytes(flipped)).checksum_good is not edid.decode(data).checksum_good
