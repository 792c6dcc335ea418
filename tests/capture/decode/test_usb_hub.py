from __future__ import annotations

import pytest

from usbwatch.capture.decode import usb_hub
from usbwatch.capture.decode.usb_hub import Hub

# Constructed by table 11-13 of USB 2.0 (ch11.h), for a hub built into a top case: four ports, three of them fixed.
BUILT_IN = bytes.fromhex("09 29 04 0d 00 32 64 0e ff")


def test_a_hub_in_a_top_case() -> None:
    descriptor, defects = usb_hub.decode(BUILT_IN)
    assert descriptor is not None
    assert defects == ()
    assert usb_hub.hub(descriptor) == Hub(
        port_count=4,
        compound=True,
        power_switching="per port",
        over_current="per port",
        power_good_ms=100,
        fixed_ports=(1, 2, 3),
    )


def test_a_superspeed_hub_that_can_report_no_over_current() -> None:
    descriptor, defects = usb_hub.decode(bytes.fromhex("0c 2a 02 10 00 0a 00 00 f4 01 04 00"))
    assert descriptor is not None
    assert defects == ()
    found = usb_hub.hub(descriptor)
    assert found is not None
    assert (found.over_current, found.power_switching, found.fixed_ports) == ("none", "ganged", (2,))


def test_nine_ports_take_two_bytes() -> None:
    descriptor, defects = usb_hub.decode(bytes.fromhex("0b 29 09 00 00 32 64 00 02 ff ff"))
    assert descriptor is not None
    assert defects == ()
    assert usb_hub.hub(descriptor) == Hub(
        port_count=9,
        compound=False,
        power_switching="ganged",
        over_current="global",
        power_good_ms=100,
        fixed_ports=(9,),
    )


@pytest.mark.parametrize(
    ("data", "problem"),
    [
        pytest.param(b"", "no hub descriptor", id="nothing"),
        pytest.param(bytes.fromhex("09 04 00 00 00 03 00 00 00"), "no hub descriptor", id="an interface"),
        pytest.param(BUILT_IN[:8], "bLength is 9, but there are 8 bytes", id="cut"),
        pytest.param(BUILT_IN + b"\0", "1 bytes after the descriptor", id="too long"),
        pytest.param(
            bytes.fromhex("06 29 04 0d 00 32"),
            "hub descriptor of 6 bytes, the standard has at least 7; kept as it came",
            id="too short",
        ),
    ],
)
def test_what_is_wrong(data: bytes, problem: str) -> None:
    descriptor, defects = usb_hub.decode(data)
    assert [defect.problem for defect in defects] == [problem]
    if descriptor is not None and descriptor.rest:
        assert usb_hub.hub(descriptor) is None
