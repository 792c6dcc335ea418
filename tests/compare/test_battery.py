"""What a battery's readings come to: the kernel's ABI, the firmware guidance, and a real kernel's values.

Meaning of the files: Documentation/ABI/testing/sysfs-class-power. The border
between worn and well is common practice and has no source.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import BuiltTree, RealTree
from support.looking import at, look
from support.needs import needed_tool
from support.reference_lists import copy_of
from support.sysfs import Conditions
from support.units import LARCH

from usbwatch.capture.power_supply import gauge_talks
from usbwatch.compare import findings
from usbwatch.compare.battery import WORN_BELOW_PERCENT, pattern
from usbwatch.model import Fact, Symptom, Verdict
from usbwatch.profile import find

LARCH_PROFILE = find("fernhill-larch-13")

READINGS: dict[str, tuple[dict[str, Fact], Symptom, str]] = {
    "well": (
        {"charge_full": 4_105_000, "charge_full_design": 4_390_000, "charge_now": 2_545_000, "cycle_count": 87},
        Symptom.WORKING,
        "holds 94% of its design capacity, 87 cycles",
    ),
    "well, by energy": (
        {"energy_full": 47_000_000, "energy_full_design": 50_000_000, "cycle_count": 12},
        Symptom.WORKING,
        "holds 94% of its design capacity, 12 cycles",
    ),
    "new, and a full capacity a little above the design": (
        {"charge_full": 4_500_000, "charge_full_design": 4_390_000, "cycle_count": 0},
        Symptom.WORKING,
        "holds 103% of its design capacity, cycle count not available",
    ),
    "unknown cycle count reads as -1": (
        {"charge_full": 4_300_000, "charge_full_design": 4_390_000, "cycle_count": -1},
        Symptom.WORKING,
        "holds 98% of its design capacity, cycle count not available",
    ),
    "worn": (
        {"charge_full": 1_890_000, "charge_full_design": 4_390_000, "cycle_count": 1180},
        Symptom.DEGRADED,
        "worn: holds 43% of its design capacity, 1180 cycles",
    ),
    "learned more than a pack can hold": (
        {"charge_full": 9_000_000, "charge_full_design": 4_390_000},
        Symptom.DEGRADED,
        "its gauge is calibrated wrongly: full 9000000, design 4390000, now 0",
    ),
    "holds more now than when full": (
        {"charge_full": 2_900_000, "charge_full_design": 4_390_000, "charge_now": 4_100_000},
        Symptom.DEGRADED,
        "its gauge is calibrated wrongly: full 2900000, design 4390000, now 4100000",
    ),
    "no design capacity to compare with": (
        {"charge_full": 4_000_000, "cycle_count": 3},
        Symptom.WORKING,
        "its gauge talks; no wear can be told (3 cycles)",
    ),
    "told not to charge": (
        {
            "charge_full": 4_300_000,
            "charge_full_design": 4_390_000,
            "cycle_count": 5,
            "status": "Not charging",
            "charge_control_end_threshold": 80,
        },
        Symptom.WORKING,
        "holds 98% of its design capacity, 5 cycles; not charging now (a limit of 80% is set)",
    ),
}


@pytest.mark.parametrize(("facts", "symptom", "told"), READINGS.values(), ids=READINGS)
def test_what_readings_come_to(facts: dict[str, Fact], symptom: Symptom, told: str) -> None:
    found = pattern(facts)
    assert (found.symptom, found.told) == (symptom, told)


@pytest.mark.parametrize("full", range(1, 101))
def test_worn_begins_below_the_stated_share(full: int) -> None:
    found = pattern({"charge_full": full, "charge_full_design": 100})
    assert (found.symptom is Symptom.DEGRADED) == (full < WORN_BELOW_PERCENT)


@pytest.mark.parametrize("battery", ["silent", "zero"])
def test_zeros_and_all_ones_are_a_gauge_that_does_not_talk_and_never_a_new_pack(
    built_tree: BuiltTree, battery: str
) -> None:
    """The guidance in the module's head; what a real kernel shows of both is in the built tree's own test."""
    finding = findings(look(built_tree(LARCH, Conditions(battery=battery))), LARCH_PROFILE).of("battery")
    assert (finding.verdict, finding.symptom) == (Verdict.IMPAIRED, Symptom.MUTE)
    assert "does not talk" in finding.reasons[0]


def test_the_charge_is_the_one_that_psutil_reads_in_the_same_tree(real_tree: RealTree, tmp_path: Path) -> None:
    """psutil: ``sensors_battery().percent`` is 100 * now / full (psutil/_pslinux.py)."""
    wrapper = needed_tool("umockdev-wrapper", "umockdev")
    root = real_tree("healthy")
    supply = at(look(root), "acpi/_SB_.BAT0/power_supply", "power_supply")
    now, full = supply.facts["charge_now"], supply.facts["charge_full"]
    assert isinstance(now, int)
    assert isinstance(full, int)
    done = subprocess.run(
        [wrapper, sys.executable, "-c", "import json, psutil; print(json.dumps(psutil.sensors_battery()))"],
        env={**os.environ, "UMOCKDEV_DIR": str(copy_of(root, tmp_path / "copy"))},
        capture_output=True,
        text=True,
        check=True,
    )
    percent, _, plugged = json.loads(done.stdout)
    assert percent == pytest.approx(100 * now / full)
    assert plugged == (at(look(root), "acpi/_SB_.AC0_/power_supply", "power_supply").facts["online"] == 1)


def test_all_ones_scaled_as_the_driver_scales_them_are_no_reading() -> None:
    """drivers/acpi/battery.c gives micro-units: a bus that nobody drives reads 65535 thousandfold."""
    silent: dict[str, Fact] = {
        "voltage_now": 65_535_000,
        "charge_full": 65_535_000,
        "charge_full_design": 65_535_000,
        "charge_now": 65_535_000,
        "cycle_count": 65_535,
    }
    assert not gauge_talks(silent)
    half = pattern({"charge_full": 4_000_000, "charge_full_design": 65_535_000, "voltage_now": 11_900_000})
    assert half.symptom is Symptom.WORKING
    assert "no wear can be told" in half.told
