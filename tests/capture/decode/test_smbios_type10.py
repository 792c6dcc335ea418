"""Type 10 records against DMTF DSP0134 section 7.11 (layout and values from memory)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.tree.smbios import record

from usbwatch.capture.decode import smbios
from usbwatch.capture.decode.smbios_type10 import onboard_devices


def _read(raw: bytes) -> tuple[list[tuple[str | None, int | None, str, bool | None]], list[tuple[int, str]]]:
    devices, defects = onboard_devices(smbios.decode_entry(raw).structures[0])
    named = [(one.reference_designation, one.device_type, one.device_name, one.enabled) for one in devices]
    return named, [(one.offset, one.problem) for one in defects]


def test_one_structure_names_several_devices() -> None:
    raw = record(10, 0x29, bytes([0x83, 1, 0x07, 2, 0x85, 0]), "Video", "Sound")
    assert _read(raw) == (
        [("Video", 3, "video", True), ("Sound", 7, "sound", False), (None, 5, "ethernet", True)],
        [],
    )


def test_types_that_only_the_newer_record_has_get_no_name() -> None:
    assert _read(record(10, 0x29, bytes([0x8B, 0])))[0] == [(None, 11, "", True)]


@pytest.mark.parametrize(
    ("fields", "devices", "defects"),
    [
        (b"", 0, []),
        (bytes([0x83]), 0, [(4, "half an entry at the end")]),
        (bytes([0x83, 0, 0x85]), 1, [(6, "half an entry at the end")]),
        (bytes([0x83, 9]), 1, [(5, "string 9 is asked for, there are 0")]),
    ],
    ids=["none", "half", "one and a half", "no such string"],
)
def test_a_damaged_record_gives_what_there_is_and_names_the_rest(
    fields: bytes, devices: int, defects: list[tuple[int, str]]
) -> None:
    read, told = _read(record(10, 0x29, fields))
    assert (len(read), told) == (devices, defects)


@pytest.mark.properties
@given(st.binary(max_size=251))
def test_any_bytes_give_one_device_for_every_two(fields: bytes) -> None:
    assert len(_read(record(10, 0, fields))[0]) == len(fields) // 2
