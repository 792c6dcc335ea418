"""How supplies and displays stand, read from small trees made by hand in the shape of the kernel's own.

``uevent`` of a supply: ``power_supply_uevent`` in drivers/power/supply/power_supply_sysfs.c; the values are those of
the emulated laptop's battery as a real kernel gives them.
"""

from __future__ import annotations

import errno

import pytest
from support.small_tree import (
    AC,
    BAT,
    BATTERY_DEVICE,
    EDP,
    MAINS,
    MAINS_DEVICE,
    TALKING,
    laptop,
    laptop_tree,
)

from usbwatch.capture.stream.news import Stood
from usbwatch.capture.stream.readings import Readings, supply_facts


def stands(stood: tuple[Stood, ...]) -> dict[tuple[str, str], tuple[bool, bool]]:
    return {(one.bus, one.location): (one.there, one.talks) for one in stood}


def test_each_supply_is_told_as_the_device_that_a_profile_expects() -> None:
    readings = Readings(laptop_tree(), laptop())
    assert stands(readings.supplies(0)) == {BATTERY_DEVICE: (True, True), MAINS_DEVICE: (True, True)}


@pytest.mark.parametrize(
    ("uevent", "there", "talks"),
    [
        ("POWER_SUPPLY_TYPE=Battery\nPOWER_SUPPLY_PRESENT=1\nPOWER_SUPPLY_CYCLE_COUNT=0\n", True, False),
        (TALKING.replace("11912000", "0"), True, False),
        (TALKING.replace("PRESENT=1", "PRESENT=0"), False, True),
        (errno.EIO, True, False),
        (errno.ETIMEDOUT, True, False),
        (errno.ENODEV, False, True),
    ],
)
def test_a_battery_is_silent_or_gone(uevent: str | int, there: bool, talks: bool) -> None:
    tree = laptop_tree()
    readings = Readings(tree, laptop())
    readings.supplies(0)
    tree.files[f"{BAT}/uevent"] = uevent
    assert stands(readings.supplies(2000))[BATTERY_DEVICE] == (there, talks)


def test_an_adapter_that_is_pulled_says_so_as_mains() -> None:
    tree = laptop_tree()
    readings = Readings(tree, laptop())
    adapter = f"{AC}/uevent"
    tree.files[adapter] = str(tree.files[adapter]).replace("ONLINE=1", "ONLINE=0")
    assert [(one.there, one.mains) for one in readings.supplies(0) if one.location == MAINS_DEVICE[1]] == [
        (False, True)
    ]
    assert [one.mains for one in readings.supplies(0) if one.location == BATTERY_DEVICE[1]] == [False]


def test_a_pack_whose_folder_goes_is_gone_and_comes_back_with_it() -> None:
    """drivers/acpi/battery.c takes the class device down when the bay is empty."""
    tree = laptop_tree()
    readings = Readings(tree, laptop())
    readings.supplies(0)
    kept = tree.files.pop(f"{BAT}/uevent"), tree.links.pop("sys/class/power_supply/BAT0")
    assert stands(readings.supplies(1))[BATTERY_DEVICE] == (False, True)
    tree.files[f"{BAT}/uevent"], tree.links["sys/class/power_supply/BAT0"] = kept
    assert stands(readings.supplies(2))[BATTERY_DEVICE] == (True, True)


def test_a_charger_that_is_pulled_is_gone_although_its_node_stays() -> None:
    tree = laptop_tree()
    readings = Readings(tree, laptop())
    tree.files[f"{AC}/uevent"] = MAINS.format(0)
    assert stands(readings.supplies(0))[MAINS_DEVICE] == (False, True)


def test_the_battery_of_a_mouse_is_none_of_the_units() -> None:
    tree = laptop_tree()
    tree.files[f"{BAT}/uevent"] = TALKING + "POWER_SUPPLY_SCOPE=Device\n"
    assert BATTERY_DEVICE not in stands(Readings(tree, laptop()).supplies(0))


def test_a_display_is_there_when_its_connector_says_so() -> None:
    tree = laptop_tree()
    readings = Readings(tree, laptop())
    ((place, standing),) = stands(readings.displays(0)).items()
    assert (place, standing) == (("drm", "pci0000:00/02.0/drm/eDP-1"), (True, True))
    tree.files[f"{EDP}/status"] = "disconnected\n"
    assert stands(readings.displays(1))[place] == (False, True)
    tree.files[f"{EDP}/status"] = "unknown\n"
    assert readings.displays(2) == ()


def test_values_are_numbers_where_they_are() -> None:
    facts = supply_facts(
        "POWER_SUPPLY_CURRENT_NOW=-86000\nPOWER_SUPPLY_MODEL_NAME=LB=1\nDEVTYPE=x\nPOWER_SUPPLY_X=1e9\n"
    )
    assert facts == {"current_now": -86000, "model_name": "LB=1", "x": "1e9"}
