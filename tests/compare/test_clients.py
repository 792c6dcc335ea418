"""How far the kernel got with an I2C or SPI client, and what becomes of the device that it stands for.

``i2c_hid_acpi_ids`` in drivers/hid/i2c-hid/i2c-hid-acpi.c: the one driver that asks every client of its ids.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from usbwatch.capture.log.troubles import I2C_HID_FAILED
from usbwatch.compare import findings
from usbwatch.compare.clients import Asked, asked, made_for
from usbwatch.compare.scene import scene
from usbwatch.model import (
    Capture,
    Coverage,
    CoverageState,
    Episode,
    ExpectedDevice,
    Kind,
    Node,
    Profile,
    Rung,
    Software,
    System,
    UnitStrings,
    Verdict,
)

PLACE = "acpi/_SB_.PCI0.I2C0.TPD0"
HID = Node(
    bus="i2c",
    location=PLACE,
    kind=Kind.DEVICE,
    rung=Rung.ATTACHED,
    identity="PNP0C50",
    functions=("touchpad",),
)
OTHER = replace(HID, identity="BRWL0002")
PROFILE = Profile(
    id="p",
    name="p",
    source="invented",
    devices=(
        ExpectedDevice(
            id="pad", name="pad", function="touchpad", within="board", locations=(PLACE,), reaches=Rung.BOUND
        ),
    ),
)
FAILED = Episode(location=PLACE, trouble=I2C_HID_FAILED, count=1)
MADE = Software(drivers_for={PLACE: ("invented_pad",)})
LOADED = replace(MADE, loaded=("invented_pad",))


def capture(client: Node, *drivers: str, software: Software | None = None, told: tuple[Episode, ...] = ()) -> Capture:
    return Capture(
        taken_at="",
        tool="",
        system=System(platform="linux"),
        unit=UnitStrings(),
        coverage=(Coverage(bus="i2c", state=CoverageState.OK, drivers=drivers),),
        nodes=(client,),
        episodes=told,
        software=software or Software(),
    )


CASES = {
    "held": (capture(replace(HID, driver="i2c_hid_acpi", rung=Rung.BOUND)), Asked.HELD, Verdict.PRESENT),
    "its driver is there": (capture(HID, "i2c_hid_acpi"), Asked.SILENT, Verdict.MISSING),
    "by what it is compatible with": (
        capture(replace(OTHER, identity="BRWL0002 PNP0C50"), "i2c_hid_acpi"),
        Asked.SILENT,
        Verdict.MISSING,
    ),
    "another driver is there": (capture(HID, "tpm_tis_i2c"), Asked.UNASKED, Verdict.UNSEEN),
    "it waits": (
        capture(replace(HID, facts={"waiting_for_supplier": "1"}), "i2c_hid_acpi"),
        Asked.WAITING,
        Verdict.UNSEEN,
    ),
    "its driver failed": (capture(OTHER, told=(FAILED,)), Asked.FAILED, Verdict.MISSING),
    "a maker's driver, loaded": (capture(OTHER, software=LOADED), Asked.LEFT_ALONE, Verdict.UNSEEN),
    "a maker's driver, not loaded": (capture(OTHER, software=MADE), Asked.UNASKED, Verdict.UNSEEN),
}


@pytest.mark.parametrize(("looked", "state", "verdict"), CASES.values(), ids=CASES)
def test_what_is_known_of_a_client(looked: Capture, state: Asked, verdict: Verdict) -> None:
    assert asked(looked.nodes[0], scene(looked, PROFILE)) is state
    assert findings(looked, PROFILE).of("pad").verdict is verdict


def test_a_driver_that_leaves_its_client_alone_is_named() -> None:
    finding = findings(CASES["a maker's driver, loaded"][0], PROFILE).of("pad")
    assert finding.software == "its driver invented_pad is loaded and does not hold it"


def test_the_driver_that_asks_comes_first() -> None:
    looked = capture(HID, software=MADE)
    assert made_for(HID, scene(looked, PROFILE)) == ("i2c_hid_acpi", "i2c_hid", "invented_pad")
