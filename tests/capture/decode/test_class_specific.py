from __future__ import annotations

from pathlib import Path

import pytest
from support.hex_files import bytes_of

from usbwatch.capture.decode import class_specific, usb_audio, usb_ccid, usb_descriptors, usb_video
from usbwatch.capture.decode.class_specific import ClassSpecific

DATA = Path(__file__).parent / "data"


def sample(name: str) -> bytes:
    return bytes_of(DATA / f"{name}.descriptors.hex")


def of(data: bytes) -> ClassSpecific:
    return class_specific.decode(usb_descriptors.decode(data))


def names(decoded: ClassSpecific) -> list[tuple[str, int | None, int | None, str]]:
    return [(one.family, one.interface, one.endpoint, one.descriptor.name) for one in decoded.placed]


def interface(triple: str, *descriptors: str, device: str = "") -> bytes:
    """A device with one interface of that class, and class-specific descriptors in it. Layouts: ch9.h."""
    body = bytes.fromhex(f"09 04 00 00 00 {triple} 00" + "".join(descriptors))
    configuration = bytes.fromhex("09 02") + (9 + len(body)).to_bytes(2, "little") + bytes.fromhex("01 01 00 80 32")
    return bytes.fromhex(device or "12 01 00 02 00 00 00 40 09 12 10 00 00 01 00 00 00 01") + configuration + body


# --- real bytes -----------------------------------------------------------------------


def test_a_camera_of_720_lines() -> None:
    decoded = of(sample("camera"))
    assert names(decoded) == [
        ("camera", 0, None, "video control header"),
        ("camera", 0, None, "camera terminal"),
        ("camera", 0, None, "output terminal"),
        ("camera", 1, None, "video input header"),
        ("camera", 1, None, "MJPEG format"),
        ("camera", 1, None, "MJPEG frame"),
    ]
    assert decoded.defects == ()
    (frame,) = usb_video.frames(decoded.of("camera"))
    assert (frame.width, frame.height, frame.payload) == (1280, 720, "MJPEG")
    assert frame.fastest_hz == pytest.approx(30, abs=0.001)


def test_an_audio_device_with_a_stereo_speaker() -> None:
    decoded = of(sample("audio"))
    assert names(decoded) == [
        ("audio", 0, None, "audio control header"),
        ("audio", 0, None, "input terminal"),
        ("audio", 0, None, "feature unit"),
        ("audio", 0, None, "output terminal"),
        ("audio", 1, None, "audio stream"),
        ("audio", 1, None, "format type I"),
        ("audio", 1, 1, "audio stream endpoint"),
    ]
    assert decoded.defects == ()
    found = [(one.name, one.is_input, one.channel_count) for one in usb_audio.terminals(decoded.of("audio"))]
    assert found == [("USB streaming", True, 2), ("speaker", False, None)]
    form = decoded.of("audio")[5]
    assert (form.number("bNrChannels"), form.number("bBitResolution"), form.numbers("tSamFreq")) == (2, 16, (48000,))


def test_a_smart_card_reader_of_one_slot() -> None:
    decoded = of(sample("smart-card-reader"))
    assert names(decoded) == [("smart card", 0, None, "smart card reader")]
    assert decoded.defects == ()
    (descriptor,) = decoded.of("smart card")
    # 54 bytes in all, and figures that a card reader has: 4 MHz (ISO 7816-3 allows 1 to 5 at the start,
    # from memory), 9600 bit/s, 254 bytes of information field (ISO 7816-3, T=1, from memory).
    assert (descriptor.length, descriptor.rest) == (54, "")
    assert (descriptor.number("dwDataRate"), descriptor.number("dwMaxIFSD")) == (9600, 254)
    assert usb_ccid.card_reader(descriptor) == usb_ccid.CardReader(
        slot_count=1, voltages=("5 V", "3 V", "1.8 V"), protocols=("T=0",), default_clock_khz=4000
    )


def test_a_serial_dongle_unites_its_two_interfaces() -> None:
    decoded = of(sample("serial-dongle"))
    assert [one.descriptor.name for one in decoded.placed] == [
        "CDC header",
        "abstract control management",
        "union",
        "call management",
    ]
    assert decoded.defects == ()
    union = decoded.of("communications")[2]
    assert (union.number("bMasterInterface0"), union.numbers("bSlaveInterface")) == (0, (1,))


def test_a_superspeed_root_hub_has_a_companion() -> None:
    decoded = of(sample("root-hub-usb3"))
    assert names(decoded) == [("companion", 0, 0x81, "SuperSpeed endpoint companion")]
    assert decoded.placed[0].descriptor.number("wBytesPerInterval") == 2


# --- constructed by the standards -----------------------------------------------------


@pytest.mark.parametrize(
    ("triple", "descriptor", "family", "name"),
    [
        pytest.param("fe 01 01", "09 21 0b e8 03 00 10 10 01", "firmware upgrade", "firmware upgrade", id="DFU 1.1"),
        pytest.param("fe 01 01", "07 21 0b e8 03 00 10", "firmware upgrade", "firmware upgrade", id="DFU 1.0"),
        pytest.param("09 00 00", "09 29 04 09 00 32 64 00 ff", "hub", "hub", id="hub"),
        pytest.param(
            "02 06 00", "0d 24 0f 03 00 00 00 00 ea 05 00 00 00", "communications", "ethernet networking", id="ethernet"
        ),
        pytest.param("02 0d 00", "06 24 1a 00 01 1f", "communications", "network control model", id="NCM"),
        pytest.param(
            "02 0e 00", "0c 24 1b 00 01 00 10 10 80 dc 05 20", "communications", "mobile broadband", id="MBIM"
        ),
        pytest.param("01 02 00", "0e 24 02 01 01 02 10 00 40 1f 00 80 bb 00", "audio", "format type I", id="a range"),
        pytest.param("0e 02 00", "06 24 0d 01 01 04", "camera", "colour matching", id="colours"),
        pytest.param("0e 01 00", "0b 24 05 02 01 00 00 02 ff 00 00", "camera", "processing unit", id="UVC 1.0 unit"),
        pytest.param("01 01 20", "09 24 01 00 02 04 08 00 00", "", "", id="audio 2.0 is kept as it came"),
        pytest.param("ff 00 00", "05 24 00 10 01", "", "", id="another class's descriptor in a vendor's interface"),
        pytest.param("02 02 01", "04 24 7f 00", "communications", "", id="unknown subtype"),
    ],
)
def test_which_layout_holds(triple: str, descriptor: str, family: str, name: str) -> None:
    decoded = of(interface(triple, descriptor))
    assert names(decoded) == [(family, 0, None, name)]
    assert decoded.defects == ()
    assert (decoded.placed[0].configuration, decoded.placed[0].alternate_setting) == (1, 0)
    if name:
        assert decoded.placed[0].descriptor.rest == ""


def test_an_ethernet_adapter_numbers_the_string_of_its_address() -> None:
    (descriptor,) = of(interface("02 06 00", "0d 24 0f 03 00 00 00 00 ea 05 00 00 00")).of("communications")
    assert (descriptor.number("iMACAddress"), descriptor.number("wMaxSegmentSize")) == (3, 1514)


def test_a_range_of_frame_intervals_is_fastest_at_its_shortest() -> None:
    # USB Video Class 1.1, uncompressed payload section 3.1.2: type 0 has minimum, maximum and step.
    head = "26 24 05 01 00 80 02 e0 01" + "00" * 16 + "00"
    intervals = "15 16 05 00 80 84 1e 00 01 00 00 00"
    (frame,) = usb_video.frames(of(interface("0e 02 00", head, intervals)).of("camera"))
    assert (frame.width, frame.height, frame.payload) == (640, 480, "uncompressed")
    assert frame.fastest_hz == pytest.approx(30, abs=0.001)


def test_a_frame_without_an_interval_has_no_rate() -> None:
    (frame,) = usb_video.frames(
        of(interface("0e 02 00", "1e 24 07 01 00 80 02 e0 01" + "00" * 16 + "01 00000000")).of("camera")
    )
    assert frame.fastest_hz is None


@pytest.mark.parametrize(
    ("triple", "descriptors", "offset", "problem"),
    [
        pytest.param(
            "0e 01 00",
            ["0d 24 01 10 01 28 00 00 6c dc 02 01 01", "09 24 03 02 01 01 00 01 00"],
            41,
            "wTotalLength is 40, found 22 bytes",
            id="a unit lost",
        ),
        pytest.param(
            "02 02 01",
            ["04 24 00 10"],
            36,
            "CDC header descriptor of 4 bytes, the standard has at least 5; kept as it came",
            id="too short",
        ),
        pytest.param(
            "01 01 00",
            ["09 24 01 00 01 09 00 02 01"],
            44,
            "baInterfaceNr should have 2 bytes, there are 1",
            id="more interfaces than there is room for",
        ),
    ],
)
def test_what_is_wrong(triple: str, descriptors: list[str], offset: int, problem: str) -> None:
    decoded = of(interface(triple, *descriptors))
    assert [(defect.offset, defect.problem) for defect in decoded.defects] == [(offset, problem)]


def test_no_more_than_so_many_are_decoded() -> None:
    decoded = of(interface("02 02 01", *["05 24 00 10 01"] * (class_specific.MOST + 3)))
    assert len(decoded.placed) == class_specific.MOST
    (defect,) = decoded.defects
    assert defect.offset == 36 + 5 * class_specific.MOST
    assert "more than 8192" in defect.problem
