from __future__ import annotations

from pathlib import Path

import pytest
from support.hex_files import bytes_of, kernel_parse

from usbwatch.capture.decode import edid
from usbwatch.capture.decode.edid import Edid

CONNECTOR = Path(__file__).parent / "data" / "connector.edid.hex"

# drivers/gpu/drm/tests/drm_kunit_edid.h (kernel 6.12): test_edid_dvi_1080p, and test_edid_hdmi_1080p_rgb_max_200mhz
# with its CTA-861 extension, both by the hex dumps in the comments there, which also say what each of them holds.
# (The array of the second one has another range limit, bytes 97 to 99, and the checksum that goes with it.)
DVI_1080P = bytes.fromhex(
    "00 ff ff ff ff ff ff 00 31 d8 2a 00 00 00 00 00 00 21 01 03 81 a0 5a 78 0a 00 00 00 00 00 00 00"
    "00 00 00 00 00 00 01 01 01 01 01 01 01 01 01 01 01 01 01 01 01 01 02 3a 80 18 71 38 2d 40 58 2c"
    "45 00 40 84 63 00 00 1e 00 00 00 fc 00 54 65 73 74 20 45 44 49 44 0a 20 20 20 00 00 00 fd 00 32"
    "46 1e 46 0f 00 0a 20 20 20 20 20 20 00 00 00 10 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 ab"
)
HDMI_1080P = bytes.fromhex(
    "00 ff ff ff ff ff ff 00 31 d8 2a 00 00 00 00 00 00 21 01 03 81 a0 5a 78 02 00 00 00 00 00 00 00"
    "00 00 00 20 00 00 01 01 01 01 01 01 01 01 01 01 01 01 01 01 01 01 02 3a 80 18 71 38 2d 40 58 2c"
    "45 00 40 84 63 00 00 1e 00 00 00 fc 00 54 65 73 74 20 45 44 49 44 0a 20 20 20 00 00 00 fd 00 32"
    "46 1e 46 0f 00 0a 20 20 20 20 20 20 00 00 00 10 00 00 00 00 00 00 00 00 00 00 00 00 00 00 01 92"
    "02 03 1b 81 e3 05 00 20 41 10 e2 00 4a 6d 03 0c 00 12 34 00 28 20 00 00 00 00 00 00 00 00 00 00" + "00" * 95 + "d0"
)


def changed(offset: int, replacement: str, *, checksum: bool = True) -> bytes:
    """The first sample with some bytes replaced, and its checksum put right."""
    data = bytearray(DVI_1080P)
    new = bytes.fromhex(replacement)
    data[offset : offset + len(new)] = new
    if checksum:
        data[127] = -sum(data[:127]) % 256
    return bytes(data)


def problems(decoded: Edid) -> list[tuple[int, str]]:
    return [(defect.offset, defect.problem) for defect in decoded.defects]


@pytest.mark.parametrize(("data", "extensions"), [(DVI_1080P, 0), (HDMI_1080P, 1)], ids=["dvi", "hdmi"])
def test_the_kernels_test_displays_are_read_as_its_comments_say(data: bytes, extensions: int) -> None:
    decoded = edid.decode(data)
    assert decoded.version == "1.3"
    assert (decoded.maker, decoded.product_code) == ("LNX", 42)
    assert decoded.identity == "LNX:002a"
    assert (decoded.year, decoded.week, decoded.model_year) == (2023, None, False)
    assert (decoded.width_cm, decoded.height_cm) == (160, 90)
    assert decoded.name == "Test EDID"
    assert decoded.extension_count == extensions
    assert decoded.checksum_good
    assert decoded.defects == ()


def test_the_preferred_timing_is_read_as_the_kernels_comment_says() -> None:
    # "DTD 1:  1920x1080   60.000000 Hz … 67.500 kHz    148.500000 MHz", horizontal 88 + 44 + 148, vertical 4 + 5 + 36
    timing = edid.decode(DVI_1080P).preferred
    assert timing is not None
    assert (timing.width, timing.height) == (1920, 1080)
    assert (timing.total_width, timing.total_height) == (1920 + 88 + 44 + 148, 1080 + 4 + 5 + 36)
    assert timing.pixel_clock_khz == 148_500
    assert timing.refresh_hz == pytest.approx(60.0)
    assert not timing.interlaced


def test_a_connector_of_a_real_kernel() -> None:
    data = bytes_of(CONNECTOR)
    assert sum(data[:128]) % 256 == sum(data[128:]) % 256 == 0  # VESA: each block adds up to 0
    decoded = edid.decode(data)
    assert decoded.checksum_good
    assert decoded.defects == ()
    assert decoded.preferred is not None
    assert f"{decoded.preferred.width}x{decoded.preferred.height}" == kernel_parse(CONNECTOR)["connector"]["modes"]
    assert decoded.name == "Larch Panel"
    assert decoded.version == "1.4"


# VESA E-EDID section 3.4.1 (number from memory): five bits a letter, 1 for A, big-endian.
@pytest.mark.parametrize(
    ("maker", "letters"), [("04 43", "ABC"), ("6b 5a", "ZZZ"), ("31 d8", "LNX"), ("00 00", ""), ("ff ff", "")]
)
def test_maker_letters(maker: str, letters: str) -> None:
    decoded = edid.decode(changed(8, maker))
    assert decoded.maker == letters
    assert ([offset for offset, _ in problems(decoded)] == [8]) == (letters == "")


def test_an_identity_needs_a_maker() -> None:
    assert edid.decode(changed(8, "00 00")).identity == ""


@pytest.mark.parametrize(
    ("week", "year", "expected"),
    [
        pytest.param("2a", "18", (42, 2014, False), id="week 42"),
        pytest.param("00", "18", (None, 2014, False), id="week not given"),
        pytest.param("ff", "18", (None, 2014, True), id="model year"),
    ],
)
def test_date_of_manufacture(week: str, year: str, expected: tuple[int | None, int, bool]) -> None:
    decoded = edid.decode(changed(16, week + year))
    assert (decoded.week, decoded.year, decoded.model_year) == expected
    assert decoded.defects == ()


def test_serial_number_is_little_endian() -> None:
    assert edid.decode(changed(12, "01 00 00 10")).serial_number == 0x1000_0001


@pytest.mark.parametrize("size", ["00 00", "4f 00", "00 4f"], ids=["not given", "landscape ratio", "portrait ratio"])
def test_a_size_that_is_an_aspect_ratio_is_no_size(size: str) -> None:
    decoded = edid.decode(changed(21, size))
    assert (decoded.width_cm, decoded.height_cm) == (None, None)


def test_texts_of_a_panel() -> None:
    # Tags of include/drm/drm_edid.h: 0xff serial, 0xfe string, 0xfc name. The texts are invented.
    serial = "00 00 00 ff 00" + b"LG-0001-DEMO\n".hex()
    line = "00 00 00 fe 00" + b"Larch panel\n ".hex()
    full = "00 00 00 fe 00" + b"thirteen char".hex()
    decoded = edid.decode(changed(72, serial + line + full))
    assert decoded.serial_text == "LG-0001-DEMO"
    assert decoded.texts == ("Larch panel", "thirteen char")
    assert decoded.name == ""
    assert decoded.defects == ()


def test_a_text_holds_no_control_characters() -> None:
    hostile = "00 00 00 fc 00" + b"\x1b[2J\x07\x9b\xff\t<b>".ljust(13).hex()
    name = edid.decode(changed(72, hostile)).name
    assert name == r"\x1b[2J\x07\x9b\xff\x09<b>"
    assert name.isprintable()


def test_the_first_of_two_timings_is_the_preferred_one() -> None:
    second = "c7 17 00" + DVI_1080P[57:72].hex()
    timing = edid.decode(changed(72, second)).preferred
    assert timing is not None
    assert timing.pixel_clock_khz == 148_500


def test_a_pixel_clock_may_have_a_low_byte_of_zero() -> None:
    timing = edid.decode(changed(54, "00 3a")).preferred
    assert timing is not None
    assert timing.pixel_clock_khz == 0x3A00 * 10


def test_interlaced_timing() -> None:
    timing = edid.decode(changed(71, "9e")).preferred
    assert timing is not None
    assert timing.interlaced


def test_a_timing_without_extent_has_no_refresh() -> None:
    timing = edid.decode(changed(56, "00 " * 16)).preferred
    assert timing is not None
    assert timing.refresh_hz == 0.0


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param(b"", [(0, "no bytes at all")], id="nothing was read"),
        pytest.param(DVI_1080P[:100], [(100, "ends after 100 of 128 bytes")], id="cut"),
        pytest.param(
            b"\x00" * 4,
            [(0, "does not start with 00 ff ff ff ff ff ff 00"), (4, "ends after 4 of 128 bytes")],
            id="four zeros",
        ),
        pytest.param(changed(0, "01"), [(0, "does not start with 00 ff ff ff ff ff ff 00")], id="header"),
        pytest.param(changed(16, "37"), [(16, "week 55 of the year")], id="week"),
        pytest.param(changed(18, "02"), [(18, "version 2, of which no layout is known")], id="version"),
        pytest.param(changed(54, "00 00 00 10" + "00" * 14), [(54, "no detailed timing")], id="no timing"),
        pytest.param(
            changed(126, "02"), [(126, "2 extension blocks make 384 bytes, found 128")], id="extensions not there"
        ),
        pytest.param(
            DVI_1080P + HDMI_1080P[128:],
            [(126, "0 extension blocks make 128 bytes, found 256")],
            id="extension not announced",
        ),
        pytest.param(
            changed(12, "05", checksum=False), [(127, "bytes add up to 5 modulo 256, not to 0")], id="checksum"
        ),
    ],
)
def test_what_is_wrong_is_named_with_its_offset(data: bytes, expected: list[tuple[int, str]]) -> None:
    assert problems(edid.decode(data)) == expected


@pytest.mark.parametrize("byte", [0x00, 0xFF], ids=["line stuck low", "line stuck high"])
def test_a_stuck_line_is_no_display(byte: int) -> None:
    decoded = edid.decode(bytes([byte]) * 128)
    assert decoded.identity == ""
    assert (0, "does not start with 00 ff ff ff ff ff ff 00") in problems(decoded)


def test_a_wrong_checksum_leaves_the_fields_readable() -> None:
    decoded = edid.decode(changed(127, "00", checksum=False))
    assert decoded.checksum_good is False
    assert decoded.identity == "LNX:002a"


def test_what_is_cut_off_is_none_and_not_zero() -> None:
    decoded = edid.decode(DVI_1080P[:12])
    assert decoded.identity == "LNX:002a"
    assert decoded.serial_number is None
    assert decoded.year is None
    assert decoded.version == ""
    assert decoded.extension_count is None
    assert decoded.checksum_good is None
    assert decoded.preferred is None
