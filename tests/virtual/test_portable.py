"""The capture through libusb in the emulated laptop: the same devices as sysfs shows, and nothing is touched.

What a healthy laptop has is in ``virtual.laptop``; what a real kernel and a
real libusb make of it is found out here.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support.looking import coverage_of
from support.system_calls import (
    TOUCHES_NO_DEVICE,
    TRACED,
    WITH_SIDE_EFFECTS,
    between_marks,
    changes,
    opened,
    written_to,
)
from virtual.laptop import Laptop
from virtual.program import sh, standing, usbwatch
from virtual.usb_parts import PARTS

from usbwatch.capture import load
from usbwatch.model import Capture, CoverageState, Kind

pytestmark = pytest.mark.virtual

USB = "pci0000:00/14.0/usb2"
COMPARED = ("class", "speed_kbps", "version", "bcdDevice", "bConfigurationValue", "max_power_ma", "bNumInterfaces")

_Row = tuple[str, Kind, str, dict[str, object]]


def captured(laptop: Laptop, folder: Path, through: str) -> Capture:
    """A capture taken in the guest, read on this machine."""
    path = folder / f"{through}.json"
    path.write_bytes(usbwatch(laptop, "capture", "--through", through, "-o", "-"))
    return load(str(path))


def usb_devices(capture: Capture) -> dict[str, _Row]:
    """By location: identity, kind, descriptors and what both ways know of a USB device or interface."""
    return {
        node.location: (
            node.identity,
            node.kind,
            node.raw.get("descriptors", ""),
            {name: node.facts[name] for name in COMPARED if name in node.facts},
        )
        for node in capture.nodes
        if node.bus == "usb"
    }


def test_libusb_and_sysfs_show_the_same_devices_at_the_same_places(healthy_laptop: Laptop, tmp_path: Path) -> None:
    kernel, listed = (usb_devices(captured(healthy_laptop, tmp_path, way)) for way in ("sysfs", "libusb"))
    assert {f"{USB}/{port}" for port in ("4", "4.1", "4.2", "4.3", "4.4", "5", "6", "8", "9")} <= set(kernel)
    assert listed == kernel


def test_the_list_and_the_charge_are_all_that_is_claimed(healthy_laptop: Laptop, tmp_path: Path) -> None:
    kernel, listed = (captured(healthy_laptop, tmp_path, way) for way in ("sysfs", "libusb"))
    assert [one.bus for one in listed.coverage if one.state is CoverageState.OK] == ["usb", "power_supply"]
    assert {one.state for one in listed.coverage if one.bus not in ("usb", "power_supply")} == {CoverageState.NOT_THERE}
    assert coverage_of(listed, "power_supply").why == "charge only: no health, no cycles, no voltage"
    charge = [
        [node.facts["capacity"] for node in capture.nodes if node.bus == "power_supply" and "capacity" in node.facts]
        for capture in (kernel, listed)
    ]
    assert charge[0] == charge[1] != []


def test_a_keyboard_that_is_missing_is_missing_through_libusb_too(healthy_laptop: Laptop) -> None:
    before = standing(healthy_laptop)
    healthy_laptop.parts["keyboard"].unplug()
    healthy_laptop.plug("1", PARTS["keyboard"])
    sh(healthy_laptop, "settle 15 12")
    words = "check --json --through libusb --profile fernhill-larch-13"
    told = json.loads(usbwatch(healthy_laptop, *words.split(), code=10))
    healthy_laptop.unplug("1")
    healthy_laptop.parts["keyboard"].plug()
    sh(healthy_laptop, "settle 15 12")
    assert standing(healthy_laptop) == before
    found = {one["device"]: one["verdict"] for one in told["findings"]}
    assert [name for name, verdict in found.items() if verdict == "missing"] == ["keyboard"]
    assert {name for name, verdict in found.items() if verdict == "present"} >= {"touchpad", "camera", "internal-hub"}
    assert {found[name] for name in ("panel", "disk", "lid", "graphics", "audio")} == {"unseen"}
    assert [(one["identity"], one["location"]) for one in told["unplaced"]] == [("1209:0001", f"{USB}/1")]


def test_a_whole_look_by_every_way_touches_nothing(healthy_laptop: Laptop) -> None:
    """Strace in the guest: no write, no request to a device, no file that acts when it is read."""
    traced = f"PYTHONDONTWRITEBYTECODE=1 strace -f -qq -s 4096 -e trace={TRACED} -o /tmp/trace"
    outcome = healthy_laptop.machine.run(f"{traced} python3 /opt/usbwatch/full_look.py")
    assert outcome.code == 0, outcome.output
    by_kernel, listed, log = (int(word) for word in outcome.output.split()[-3:])
    assert (by_kernel > 100, listed > 15, log > 1000) == (True, True, True)

    calls = between_marks(healthy_laptop.machine.fetch("/tmp/trace").decode(errors="replace"))
    files = opened(calls)
    assert written_to(files) == []
    assert [path for path, _ in files if WITH_SIDE_EFFECTS.search(path)] == []
    # That the two ways were really taken: the kernel's log, sysfs' hubs, and the list by libusb.
    assert {"/dev/kmsg", "/sys/bus/usb/devices"} <= {path for path, _ in files}
    assert [path for path, _ in files if path.endswith("libusb-1.0.so")] != []
    assert [line for line in changes(calls) if not TOUCHES_NO_DEVICE.search(line)] == []
