"""Batteries and adapters: readings, and gauges that do not talk."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import at, look, shown
from support.sysfs import Conditions
from support.units import HERON, LARCH

from usbwatch.capture.power_supply import gauge_talks
from usbwatch.model import Fact, Kind, Rung

_Tree = Callable[..., Path]
_BATTERY = "acpi/_SB_.BAT0"


def test_a_real_kernels_battery(real_tree: _Tree) -> None:
    """Values as the files of the tree hold them (Documentation/ABI/testing/sysfs-class-power for their units)."""
    node = at(look(real_tree("healthy")), f"{_BATTERY}/power_supply", "power_supply")
    assert (node.kind, node.rung, node.functions) == (Kind.FUNCTION, Rung.WORKING, ("battery",))
    expected = {
        "type": "Battery",
        "status": "Charging",
        "capacity": 61,
        "cycle_count": 87,
        "charge_full_design": 4390000,
        "charge_full": 4105000,
        "charge_now": 2545000,
        "voltage_now": 11912000,
        "voltage_min_design": 11400000,
        "current_now": 860000,
        "model_name": "LB-4C50",
    }
    assert {name: node.facts[name] for name in expected} == expected


def test_a_real_kernels_adapter(real_tree: _Tree) -> None:
    node = at(look(real_tree("healthy")), "acpi/_SB_.AC0_/power_supply", "power_supply")
    assert (node.functions, node.facts) == (("mains-adapter",), {"type": "Mains", "online": 1})


@pytest.mark.parametrize("source", ["real", "built"])
def test_an_empty_bay_has_no_power_supply_at_all(real_tree: _Tree, built_tree: _Tree, source: str) -> None:
    root = real_tree("battery-not-present") if source == "real" else built_tree(LARCH, Conditions(battery="absent"))
    capture = look(root)
    assert shown(capture, f"{_BATTERY}/power_supply") == []
    assert at(capture, _BATTERY, "acpi").rung is Rung.ABSENT


@pytest.mark.parametrize("battery", ["silent", "zero"])
def test_a_pack_whose_gauge_does_not_talk_is_attached_and_no_more(built_tree: _Tree, battery: str) -> None:
    capture = look(built_tree(LARCH, Conditions(battery=battery)))
    assert at(capture, f"{_BATTERY}/power_supply", "power_supply").rung is Rung.ATTACHED
    node = at(capture, _BATTERY, "acpi")
    assert (node.rung, node.facts["status"], node.driver) == (Rung.ATTACHED, 31, "battery")


def test_a_pack_that_talks_lifts_firmwares_word_to_working(built_tree: _Tree) -> None:
    assert at(look(built_tree(HERON)), "acpi/_SB_.PCI0.LPCB.EC0_.BAT1", "acpi").rung is Rung.WORKING


def test_without_the_battery_driver_firmwares_word_is_all_there_is(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH, Conditions(unloaded=("battery",))))
    assert shown(capture, f"{_BATTERY}/power_supply") == []
    assert at(capture, _BATTERY, "acpi").rung is Rung.ATTACHED


def test_an_unplugged_adapter_is_still_there(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH, Conditions(on_mains=False)))
    assert at(capture, "acpi/_SB_.AC0_/power_supply", "power_supply").facts["online"] == 0
    assert at(capture, f"{_BATTERY}/power_supply", "power_supply").facts["status"] == "Discharging"


def test_a_mouses_battery_is_not_the_laptops(loose_tree: _Tree) -> None:
    """``scope`` Device: the battery of a peripheral (drivers/power/supply/power_supply_sysfs.c)."""
    root = loose_tree(LARCH)
    supply = root / "sys/devices/pci0000:00/0000:00:14.0/usb1/1-4/1-4.2/1-4.2:1.0/power_supply/hid-battery"
    supply.mkdir(parents=True)
    for name, text in {"type": "Battery", "scope": "Device", "capacity": "80", "voltage_now": "1200000"}.items():
        (supply / name).write_text(f"{text}\n")
    (supply / "subsystem").symlink_to("../" * 8 + "class/power_supply")
    (root / "sys/class/power_supply/hid-battery").symlink_to(Path("../..") / supply.relative_to(root / "sys"))
    nodes = [node for node in look(root).nodes if node.facts.get("scope") == "Device"]
    # Its name holds a running number on real units, so it is left out.
    assert [(node.functions, node.name) for node in nodes] == [((), "")]


_GOOD: dict[str, Fact] = {"voltage_now": 11912000, "charge_full": 4105000, "cycle_count": 87}


@pytest.mark.parametrize(
    ("facts", "talks"),
    [
        (_GOOD, True),
        (_GOOD | {"cycle_count": 0}, True),
        ({"voltage_now": 11912000, "energy_now": 30000000}, True),
        ({"cycle_count": 0, "charge_full": 0, "voltage_now": 0}, False),
        ({"cycle_count": -1}, False),
        ({"voltage_now": 11912000, "charge_full": 0, "charge_now": 0}, False),
        ({"voltage_now": 0, "charge_full": 4105000}, False),
        ({"voltage_now": 65535, "charge_full": 65535}, False),
        ({"voltage_now": 0xFFFFFFFF, "charge_full": 0xFFFFFFFF}, False),
        ({"voltage_now": "much", "charge_full": "more"}, False),
        ({}, False),
    ],
    ids=[
        "healthy",
        "no cycle field",
        "energy family",
        "all zero",
        "all ones",
        "voltage alone",
        "no voltage",
        "bus not driven",
        "unknown marks",
        "texts",
        "nothing",
    ],
)
def test_a_gauge_talks_when_its_readings_can_only_come_from_one(facts: dict[str, Fact], talks: bool) -> None:
    """Zero or all ones for full capacity is forbidden by the public ACPI battery guidance for Windows laptops."""
    assert gauge_talks(facts) is talks
