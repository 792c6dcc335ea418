"""The second layout, the Heron 14 E, started in ways that only a start can show.

What is found must not depend on how the kernel numbers the USB buses, and a
USB keyboard outside is none of the PS/2 port's.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from virtual.build import Built
from virtual.heron_14e import HERON_14E
from virtual.laptop import Condition, Laptop, running
from virtual.program import Judge, captured, sh, until
from virtual.scenarios import PROFILES
from virtual.test_scenarios import UNPROVEN
from virtual.usb_parts import HELPER_KEYBOARD

pytestmark = pytest.mark.virtual

NAME = "Heron 14 E"
FIRST, SECOND = "0000:00:1c.0", "0000:00:1c.4"
ABSENT = ("missing", "absent")


def bus_numbers(laptop: Laptop) -> list[int]:
    """The lowest number that the kernel gave a USB bus behind either PCI Express port."""
    lowest = "cat /sys/devices/pci0000:00/{}/*/usb*/busnum | sort -n | head -n 1"
    return [int(sh(laptop, lowest.format(port))) for port in (FIRST, SECOND)]


def settled(laptop: Laptop) -> Laptop:
    until(laptop, "[ -e /sys/bus/usb/devices/*-10 ]")
    sh(laptop, "settle 15 12; coldplug")
    return laptop


def test_another_start_numbers_the_buses_otherwise_and_nothing_is_told_of_it(
    healthy_heron: Laptop, laptop_files: Built, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    numbers, captures = [bus_numbers(healthy_heron)], [captured(healthy_heron, tmp_path / "one.json")]
    with running(laptop_files, Condition(late=("first",)), tmp_path, HERON_14E) as laptop:
        laptop.wake()
        numbers.append(bus_numbers(settled(laptop)))
        captures.append(captured(laptop, tmp_path / "other.json"))
    assert [first < second for first, second in numbers] == [True, False]
    judge = Judge(capsys, PROFILES[NAME])
    first, other = (judge.document("check", path, code=11) for path in captures)
    found = {one["device"]: (one["verdict"], one["symptom"]) for one in other["findings"]}
    assert found == dict.fromkeys(found, ("present", "working")) | UNPROVEN[NAME]
    told = ("findings", "external", "unexpected", "infrastructure")
    assert [first[one] for one in told] == [other[one] for one in told]
    assert json.loads(judge.told("diff", "--json", *map(str, captures), code=0))["nodes"] == []


def test_a_keyboard_outside_is_none_of_a_dead_ps2_controller(
    laptop_files: Built, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    condition = Condition(ps2=False, sockets={"left-1": HELPER_KEYBOARD})
    with running(laptop_files, condition, tmp_path, HERON_14E) as laptop:
        path = captured(settled(laptop), tmp_path / "capture.json")
    judge = Judge(capsys, PROFILES[NAME])
    told = judge.document("localise", path, code=10)
    found = {one["device"]: (one["verdict"], one["symptom"]) for one in told["findings"]}
    well = dict.fromkeys(found, ("present", "working")) | UNPROVEN[NAME]
    assert found == well | {"keyboard": ABSENT, "touchpad": ABSENT}
    external = [(one["identity"], one["location"]) for one in told["external"]]
    assert external == [("1209:000f", "pci0000:00/1c.4/00.0/usb2/1")]
    # One cause for both: what either's own flex could not explain.
    assert told["suspects"]["parts"][0]["part"] == "mainboard"
    assert set(told["suspects"]["parts"][0]["explains"]) == {"keyboard", "touchpad"}
    assert "PS/2 controller of the mainboard" in judge.page(path, code=10)
