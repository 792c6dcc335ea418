"""The second layout, the Heron 14 E: what is found must not depend on how the kernel numbers the USB buses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from virtual.build import Built
from virtual.heron_14e import HERON_14E
from virtual.laptop import Condition, Laptop, running
from virtual.watched import sh, until

pytestmark = pytest.mark.virtual

PROFILE = "/opt/usbwatch/emulated/brackwell-heron-14e.toml"
FIRST, SECOND = "0000:00:1c.0", "0000:00:1c.4"
THE_REST = ("usb-controller", "typec-controller", "touchpad", "fingerprint-reader", "bluetooth", "battery")


def bus_number(laptop: Laptop, port: str) -> int:
    """The lowest number that the kernel gave a USB bus behind this PCI Express port."""
    return int(sh(laptop, f"cat /sys/devices/pci0000:00/{port}/*/usb*/busnum | sort -n | head -n 1"))


def found(laptop: Laptop) -> dict[str, tuple[str, str]]:
    """Verdict and symptom of every expected device, as the program tells them in the guest."""
    until(laptop, "[ -e /sys/bus/usb/devices/*-10 ]")
    sh(laptop, "settle 15 12; coldplug")
    sh(laptop, f"python3 -m usbwatch check --json --profile {PROFILE} >/tmp/told", 10)
    told = json.loads(laptop.machine.fetch("/tmp/told"))
    assert told["unexpected"] == []
    return {one["device"]: (one["verdict"], one["symptom"]) for one in told["findings"]}


def test_the_same_is_found_whichever_controller_wakes_first(laptop_files: Built, tmp_path: Path) -> None:
    findings, numbers = [], []
    for late in ((), ("first",)):
        with running(laptop_files, Condition(missing=("camera",), late=late), tmp_path, HERON_14E) as laptop:
            laptop.wake()
            findings.append(found(laptop))
            numbers.append([bus_number(laptop, port) for port in (FIRST, SECOND)])
    assert (numbers[0][0] < numbers[0][1], numbers[1][0] < numbers[1][1]) == (True, False)
    assert findings[0] == findings[1]
    assert findings[0]["camera"] == ("missing", "absent")
    assert findings[0]["keyboard"][0] == "unseen"  # drivers/input/keyboard/atkbd.c asks no keyboard of a laptop
    assert {findings[0][device] for device in THE_REST} == {("present", "working")}
