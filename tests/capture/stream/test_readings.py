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

from usbwatch.capture.stream.following import begun, followed
from usbwatch.capture.stream.news import Stood
from usbwatch.capture.stream.readings import Readings, supply_facts
from usbwatch.model import Change, WatchEvent


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
        (errno.ENODEV, False, True),
    ],
)
def test_a_battery_is_silent_or_gone(uevent: str | int, there: bool, talks: bool) -> None:
    tree = laptop_tree()
    readings = Readings(tree, laptop())
    readings.supplies(0)
    tree.files[f"{BAT}/uevent"] = uevent
    assert stands(readings.supplies(2000))[BATTERY_DEVICE] == (there, talks)


@pytest.mark.parametrize("uevent", ["", errno.EIO, errno.ETIMEDOUT, errno.ENXIO])
def test_one_read_that_gives_nothing_says_nothing_and_two_are_a_battery_that_does_not_talk(uevent: str | int) -> None:
    """``uevent_show`` in drivers/base/core.c answers with an empty file where one property cannot be had.

    A battery that does not acknowledge on its bus is ENXIO (Documentation/i2c/fault-codes.rst).
    """
    tree = laptop_tree()
    readings = Readings(tree, laptop())
    readings.supplies(0)
    good, tree.files[f"{BAT}/uevent"] = tree.files[f"{BAT}/uevent"], uevent
    assert BATTERY_DEVICE not in stands(readings.supplies(2000))
    assert stands(readings.supplies(4000))[BATTERY_DEVICE] == (True, False)
    tree.files[f"{BAT}/uevent"] = good
    assert stands(readings.supplies(6000))[BATTERY_DEVICE] == (True, True)
    tree.files[f"{BAT}/uevent"] = uevent
    assert BATTERY_DEVICE not in stands(readings.supplies(8000))


@pytest.mark.parametrize("uevent", ["", errno.EIO, errno.ENXIO])
@pytest.mark.parametrize("online", [0, 1])
def test_an_adapter_that_is_not_read_is_as_it_was(uevent: str | int, online: int) -> None:
    tree = laptop_tree()
    tree.files[f"{AC}/uevent"] = MAINS.format(online)
    readings = Readings(tree, laptop())
    state, told = begun((), readings.supplies(0)), list[WatchEvent]()
    tree.files[f"{AC}/uevent"] = uevent
    for at_ms in (2000, 4000, 6000):
        for one in readings.supplies(at_ms):
            state, events = followed(state, one)
            told += events
    assert told == []
    tree.files[f"{AC}/uevent"] = MAINS.format(1 - online)
    changed = [event for one in readings.supplies(8000) for event in followed(state, one)[1]]
    assert [one.change for one in changed] == [Change.OFFLINE if online else Change.ONLINE]


def test_an_older_kernel_names_the_type_in_a_file_of_its_own() -> None:
    tree = laptop_tree()
    for folder, kind in ((BAT, "Battery"), (AC, "Mains")):
        lines = str(tree.files[f"{folder}/uevent"]).splitlines(keepends=True)
        tree.files[f"{folder}/uevent"] = "".join(one for one in lines if "_TYPE=" not in one)
        tree.files[f"{folder}/type"] = f"{kind}\n"
    readings = Readings(tree, laptop())
    assert stands(readings.supplies(0)) == {BATTERY_DEVICE: (True, True), MAINS_DEVICE: (True, True)}
    tree.files[f"{AC}/uevent"] = "POWER_SUPPLY_NAME=AC0\nPOWER_SUPPLY_ONLINE=0\n"
    assert stands(readings.supplies(2000)) == {BATTERY_DEVICE: (True, True), MAINS_DEVICE: (False, True)}


def test_two_supplies_of_one_device_are_kept_apart() -> None:
    """An embedded controller that registers battery and adapter under itself."""
    tree = laptop_tree()
    beside = BAT.replace("BAT0", "ADP")
    tree.files[f"{beside}/uevent"] = MAINS.format(1)
    tree.links["sys/class/power_supply/ADP"] = f"../../{beside[4:]}"
    tree.points(beside, "class/power_supply")
    readings = Readings(tree, laptop())
    before = readings.supplies(0)
    assert len({(one.bus, one.location) for one in before}) == len(before) == 3
    tree.files[f"{beside}/uevent"] = MAINS.format(0)
    state = begun((), before)
    told = [event.change for one in readings.supplies(2000) for event in followed(state, one)[1]]
    assert told == [Change.OFFLINE]


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
