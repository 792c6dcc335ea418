"""Fans, temperatures and backlights.

Documentation/ABI/testing/sysfs-class-hwmon, sysfs-class-thermal and
ABI/stable/sysfs-class-backlight.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import at, coverage_of, look
from support.more_buses import chip_fan, firmware_fan, thermal_zone
from support.sysfs import Conditions
from support.tree.writer import Writer
from support.units import LARCH

from usbwatch.capture.cooling import is_temperature
from usbwatch.model import CoverageState, Kind, Rung

_Tree = Callable[..., Path]
_FAN = "acpi/_SB_.FAN0"


def test_a_real_kernels_chips_are_those_of_other_devices(real_tree: _Tree) -> None:
    """Its three chips are the battery's, the adapter's and the disk's: they say nothing new, and no fan."""
    root = real_tree("healthy")
    assert sorted(path.read_text().strip() for path in root.glob("sys/class/hwmon/*/name")) == ["AC0", "BAT0", "nvme"]
    capture = look(root)
    assert coverage_of(capture, "hwmon").state is CoverageState.EMPTY
    assert [node for node in capture.nodes if node.bus == "hwmon"] == []


def test_a_real_kernels_cooling_devices_are_ways_to_throttle(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    types = {path.read_text().strip() for path in root.glob("sys/class/thermal/cooling_device*/type")}
    assert types == {"Processor"}
    capture = look(root)
    assert coverage_of(capture, "thermal").state is CoverageState.EMPTY
    assert not [node for node in capture.nodes if "fan" in node.functions]


def test_a_real_kernel_without_a_backlight(real_tree: _Tree) -> None:
    assert list((real_tree("healthy") / "sys/class/backlight").iterdir()) == []
    assert coverage_of(look(real_tree("healthy")), "backlight").state is CoverageState.EMPTY


def test_a_fan_that_firmware_declares_is_held_by_a_driver_and_proves_no_more(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    firmware_fan(root)
    capture = look(root)
    fan = at(capture, _FAN, "acpi")
    assert (fan.kind, fan.rung, fan.functions) == (Kind.DEVICE, Rung.BOUND, ("fan",))
    cooling = at(capture, f"{_FAN}/cooling", "thermal")
    assert cooling.facts == {"type": "Fan", "max_state": 1}


@pytest.mark.parametrize(("rpm", "rung"), [(2400, Rung.WORKING), (0, Rung.BOUND)])
def test_a_fan_works_when_it_turns(loose_tree: _Tree, rpm: int, rung: Rung) -> None:
    root = loose_tree(LARCH)
    firmware_fan(root, rpm=rpm)
    capture = look(root)
    assert at(capture, _FAN, "acpi").rung is rung
    assert at(capture, f"{_FAN}/hwmon", "hwmon").facts == {"fan1_input": rpm}


def test_a_fan_of_a_chip_that_firmware_does_not_name_is_a_device_of_its_own(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    chip_fan(root, 1900)
    fan = at(look(root), "platform/invented_ec/hwmon", "hwmon")
    assert (fan.kind, fan.rung, fan.functions, fan.name) == (Kind.DEVICE, Rung.WORKING, ("fan",), "invented_ec")
    assert fan.facts == {"fan1_input": 1900, "fan1_label": "CPU fan", "temp1_label": "CPU"}


def test_a_chip_does_not_vouch_for_the_part_that_it_sits_on(loose_tree: _Tree) -> None:
    """A network part's temperature sensor answers although the network interface never came up."""
    root = loose_tree(LARCH)
    for entry in (root / "sys/class/net").iterdir():
        entry.unlink()
    before = at(look(root), "pci0000:00/19.0", "pci")
    device = "sys/devices/pci0000:00/0000:00:19.0"
    Writer(root).class_device(f"{device}/hwmon/hwmon9", "hwmon", device, name="invented", temp1_input=40_000)
    capture = look(root)
    assert at(capture, "pci0000:00/19.0/hwmon", "hwmon").kind is Kind.FUNCTION
    after = at(capture, "pci0000:00/19.0", "pci")
    assert before.rung is Rung.BOUND
    assert after == before


def test_a_silent_gauge_stays_silent_beside_its_own_chip(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH, Conditions(battery="silent"))
    supply = (root / "sys/class/power_supply/BAT0").resolve().relative_to(root.resolve())
    Writer(root).class_device(f"{supply}/hwmon3", "hwmon", str(supply), name="BAT0", in0_input=0)
    capture = look(root)
    assert at(capture, "acpi/_SB_.BAT0", "acpi").rung is Rung.ATTACHED
    assert [node for node in capture.nodes if node.bus == "hwmon"] == []


@pytest.mark.parametrize(
    ("millidegrees", "rung"),
    [(42_000, Rung.WORKING), (-273_150, Rung.BOUND), (0, Rung.BOUND), (255_000, Rung.BOUND), (None, Rung.BOUND)],
)
def test_a_zone_that_firmware_declares(loose_tree: _Tree, millidegrees: int | None, rung: Rung) -> None:
    root = loose_tree(LARCH)
    thermal_zone(root, 2, "acpitz", millidegrees, path="_TZ_.THM0")
    zone = at(look(root), "acpi/_TZ_.THM0/zone", "thermal")
    assert (zone.kind, zone.name, zone.rung) == (Kind.FUNCTION, "acpitz", rung)
    assert zone.facts.get("temp") == millidegrees


@pytest.mark.parametrize("number", [0, 5])
def test_a_zone_of_a_driver_is_told_by_its_type(loose_tree: _Tree, number: int) -> None:
    root = loose_tree(LARCH)
    thermal_zone(root, number, "TCC Offset/2", 40_000)
    assert at(look(root), "virtual/thermal/TCC_Offset_2", "thermal").facts["type"] == "TCC Offset/2"


@pytest.mark.parametrize(("value", "is_one"), [(20_000, True), (-41_000, False), (150_001, False), ("hot", False)])
def test_what_can_be_a_temperature(value: str | int, is_one: bool) -> None:
    assert is_temperature(value) is is_one


def test_a_backlight_is_no_evidence_of_a_panel(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    graphics = "sys/devices/pci0000:00/0000:00:02.0"
    before = at(look(root), "pci0000:00/02.0", "pci")
    Writer(root).class_device(
        f"{graphics}/backlight/acpi_video0", "backlight", graphics, type="firmware", max_brightness=100, brightness=40
    )
    capture = look(root)
    node = at(capture, "pci0000:00/02.0/backlight", "backlight")
    assert (node.kind, node.functions) == (Kind.FUNCTION, ())
    assert node.facts == {"type": "firmware", "max_brightness": 100}
    assert at(capture, "pci0000:00/02.0", "pci") == before


@pytest.mark.parametrize(("status", "asked"), [("active", True), ("unsupported", True), ("suspended", False)])
def test_a_chip_on_a_device_that_is_asleep_is_not_asked(loose_tree: _Tree, status: str, asked: bool) -> None:
    """``runtime_status``: Documentation/ABI/testing/sysfs-devices-power."""
    root = loose_tree(LARCH)
    power = root / chip_fan(root, 1900) / "power"
    power.mkdir(exist_ok=True)
    (power / "runtime_status").write_text(f"{status}\n")
    fan = at(look(root), "platform/invented_ec/hwmon", "hwmon")
    assert ("fan1_input" in fan.facts, fan.functions) == (asked, ("fan",))
