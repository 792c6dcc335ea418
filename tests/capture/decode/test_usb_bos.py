from __future__ import annotations

import pytest

from usbwatch.capture.decode import usb_bos

# The BOS of Linux's own SuperSpeed root hub, from memory of drivers/usb/core/hcd.c and drivers/usb/host/xhci-hub.c:
# a store of one capability, SuperSpeed, all speeds but low. Layout: ch9.h.
ROOT_HUB = bytes.fromhex("05 0f 0f 00 01  0a 10 03 00 08 00 03 00 00 00")

# Constructed by ch9.h (extension, container id, SuperSpeedPlus with two sublink speeds) and from memory (platform).
DOCK = bytes.fromhex(
    "05 0f 55 00 05"
    "07 10 02 06 00 00 00"
    "0a 10 03 00 0e 00 01 0a ff 07"
    "14 10 04 00 33 22 11 00 55 44 77 66 88 99 aa bb cc dd ee ff"
    "1c 10 05 00 df 60 dd d8 89 45 c7 4c 9c d2 65 9d 9e 64 8a 9f 00 00 03 06 b2 00 20 00"
    "0f 10 0a 00 01 00 00 00 00 11 00 00 34 40 0a"
)


def test_a_root_hub() -> None:
    bos = usb_bos.decode(ROOT_HUB)
    assert bos.defects == ()
    capability = bos.capability("SuperSpeed")
    assert capability is not None
    assert (capability.offset, capability.number("wSpeedSupported")) == (5, 0x0008)


def dock() -> bytes:
    """SuperSpeedPlus as the standard has it: both speeds whole."""
    last = bytes.fromhex("14 10 0a 00 01 00 00 00 00 11 00 00 34 40 0a 00 b4 40 0a 00")
    body = DOCK[5:-15] + last
    return bytes.fromhex("05 0f") + (5 + len(body)).to_bytes(2, "little") + b"\x05" + body


def test_a_dock() -> None:
    bos = usb_bos.decode(dock())
    assert bos.defects == ()
    assert [one.name for one in bos.capabilities] == [
        "USB 2.0 extension",
        "SuperSpeed",
        "container id",
        "platform",
        "SuperSpeedPlus",
    ]
    container, platform, plus = bos.capabilities[2:]
    assert container.text("ContainerID") == "00112233-4455-6677-8899-aabbccddeeff"
    assert usb_bos.PLATFORMS[platform.text("PlatformCapabilityUUID")] == "Microsoft OS 2.0 descriptors"
    assert platform.text("CapabilityData") == "00000306b2002000"
    assert plus.numbers("bmSublinkSpeedAttr") == (0x000A4034, 0x000A40B4)


def test_a_billboard_of_one_mode() -> None:
    # From memory: Billboard Device Class 1.2 section 3.1.6.2.
    capability = bytes.fromhex("30 10 0d 01 01 00 00 80" + "03" + "00" * 31 + "21 01 00 00" + "01 ff 00 04")
    bos = usb_bos.decode(bytes.fromhex("05 0f 35 00 01") + capability)
    assert bos.defects == ()
    (billboard,) = bos.capabilities
    assert (billboard.number("bcdVersion"), billboard.numbers("AlternateModes")) == (0x0121, (0x0400FF01,))


def test_an_unknown_capability_is_kept() -> None:
    bos = usb_bos.decode(bytes.fromhex("05 0f 0a 00 01 05 10 e0 aa bb"))
    assert bos.defects == ()
    (unknown,) = bos.capabilities
    assert (unknown.name, unknown.number("bDevCapabilityType"), unknown.rest) == ("", 0xE0, "aabb")


@pytest.mark.parametrize(
    ("data", "problems"),
    [
        pytest.param("", [(0, "no BOS descriptor at the start")], id="nothing"),
        pytest.param(
            "05 0f 10 00 02 05 10 e0 aa bb",
            [(2, "wTotalLength is 16, found 10 bytes"), (4, "bNumDeviceCaps is 2, found 1")],
            id="less than claimed",
        ),
        pytest.param(
            "05 0f 08 00 00 09 10 02",
            [(5, "bLength is 9 where 3 bytes are left; what follows was not read")],
            id="past the end",
        ),
        pytest.param(
            "05 0f 08 00 00 00 10 02",
            [(5, "bLength is 0 where 3 bytes are left; what follows was not read")],
            id="length of nothing",
        ),
        pytest.param(
            "05 0f 0a 00 01 05 10 02 06 00",
            [(5, "USB 2.0 extension descriptor of 5 bytes, the standard has at least 7; kept as it came")],
            id="too short",
        ),
        pytest.param(
            "05 0f 0a 00 01 05 24 02 06 00",
            [(5, "descriptor type 24 is no device capability; kept as it came")],
            id="no capability",
        ),
        pytest.param("05 10 e0 aa bb", [(0, "no BOS descriptor at the start")], id="a capability on its own"),
    ],
)
def test_what_is_wrong(data: str, problems: list[tuple[int, str]]) -> None:
    bos = usb_bos.decode(bytes.fromhex(data))
    assert [(defect.offset, defect.problem) for defect in bos.defects] == problems


def test_a_sublink_speed_too_few() -> None:
    (defect,) = [one for one in usb_bos.decode(DOCK).defects if one.offset > 4]
    assert defect.problem == "bmSublinkSpeedAttr should have 8 bytes, there are 3"
    assert usb_bos.decode(DOCK).capability("SuperSpeedPlus") is not None
