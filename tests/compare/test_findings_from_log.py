"""Findings that rest on the kernel's log: how far a device got, whether to look again, and what not to believe.

Logs: ``tests/data/kernel-log/README.md`` says what was done to each device
before a real kernel wrote these lines.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from conftest import BuiltTree, RealTree
from support.looking import look
from support.sysfs import HEALTHY, Conditions
from support.units import LARCH

from usbwatch.capture import CopiedTree, take
from usbwatch.capture.log import episodes
from usbwatch.capture.log.troubles import (
    CONTROLLER_DIED,
    DISCONNECTED,
    EC_TIMEOUT,
    ENUMERATION_FAILED,
    INTERMITTENT,
    STILL_ENUMERATING,
)
from usbwatch.compare import absence, findings, judging
from usbwatch.model import Episode, Finding, Rung, Symptom, Verdict
from usbwatch.profile import find

PROFILE = find("fernhill-larch-13")
XHCI = "pci0000:00/14.0"
HUBS = {"1": f"{XHCI}/usb2"}
LOGS = Path(__file__).parent.parent / "data" / "kernel-log"
BOOT = f"[    0.000000] Linux version 6.1.0 ({'x' * 200})\n"

NO_CAMERA = Conditions(missing=("camera",))


def real(name: str) -> tuple[Episode, ...]:
    return episodes(BOOT + (LOGS / f"{name}.txt").read_text(encoding="utf-8"), HUBS)


def finding(root: Path, device: str, told: tuple[Episode, ...]) -> Finding:
    return findings(replace(look(root), episodes=told), PROFILE).of(device)


def test_the_words_are_those_of_the_log() -> None:
    """This room repeats them, so that it need not load the reader of logs."""
    assert (absence._ENUMERATION_FAILED, absence._STILL_ENUMERATING) == (ENUMERATION_FAILED, STILL_ENUMERATING)
    assert absence._LEFT == (DISCONNECTED, INTERMITTENT)
    assert absence._CONTROLLER_DIED == CONTROLLER_DIED
    assert (judging._EC_TIMEOUT, judging._INTERMITTENT) == (EC_TIMEOUT, INTERMITTENT)


RUNGS = {
    "camera-garbled": Rung.ATTACHED,
    "camera-config-refused": Rung.ADDRESSED,
    "camera-config-silent": Rung.ADDRESSED,
}


@pytest.mark.parametrize("name", RUNGS)
def test_a_failed_enumeration_says_how_far_the_device_got(built_tree: BuiltTree, name: str) -> None:
    """The configuration is read after the device descriptor (USB 2.0 section 9.1.2), so the device has answered."""
    told = finding(built_tree(LARCH, NO_CAMERA), "camera", real(name))
    assert (told.verdict, told.rung, told.symptom) == (Verdict.IMPAIRED, RUNGS[name], Symptom.FAILED)
    assert told.would_tell == ""


def test_a_device_that_is_still_being_tried_is_impaired_and_to_be_looked_at_again(built_tree: BuiltTree) -> None:
    told = finding(built_tree(LARCH, NO_CAMERA), "camera", real("camera-silent"))
    assert (told.verdict, told.rung, told.symptom) == (Verdict.IMPAIRED, Rung.ATTACHED, Symptom.FAILED)
    assert told.would_tell == "capture again in a minute"


def test_a_device_on_its_way_is_not_charged(built_tree: BuiltTree) -> None:
    """A capture right after the plugging: the kernel has seen it, and nothing has gone wrong yet."""
    log = f"{BOOT}[   12.000000] usb 1-5: new high-speed USB device number 9 using xhci_hcd\n"
    told = finding(built_tree(LARCH, NO_CAMERA), "camera", episodes(log, HUBS))
    assert (told.verdict, told.symptom, told.would_tell) == (
        Verdict.UNSEEN,
        Symptom.UNSEEN,
        "capture again in a minute",
    )


def test_a_device_that_left_at_run_time_is_missing_and_was_there(built_tree: BuiltTree) -> None:
    log = f"{BOOT}[   18.338805] usb 1-5: USB disconnect, device number 4\n"
    told = finding(built_tree(LARCH, NO_CAMERA), "camera", episodes(log, HUBS))
    assert told.verdict is Verdict.MISSING
    assert "something was there and left (kernel's log)" in told.reasons


@pytest.mark.parametrize("name", ["camera-garbled", "camera-silent", "camera-config-silent", "camera-full-speed"])
def test_no_line_is_held_against_a_device_that_is_there(built_tree: BuiltTree, name: str) -> None:
    told = finding(built_tree(LARCH, HEALTHY), "camera", real(name))
    assert (told.verdict, told.symptom) == (Verdict.PRESENT, Symptom.WORKING)


def test_a_device_that_comes_and_goes_says_how_often(built_tree: BuiltTree) -> None:
    lines = "".join(
        f"[   {second}.000000] usb 1-5: USB disconnect, device number {second}\n" for second in (20, 25, 30)
    )
    told = finding(built_tree(LARCH, HEALTHY), "camera", episodes(BOOT + lines, HUBS))
    assert told.verdict is Verdict.PRESENT
    assert told.reasons[-1] == "it left its place 3 times, about every 5.0 s (kernel's log)"


def test_a_dead_controller_is_blamed_once(built_tree: BuiltTree) -> None:
    """hcd.c, usb_hc_died: everything on its root hubs is disconnected with it."""
    log = f"{BOOT}[   30.000000] xhci_hcd 0000:00:14.0: HC died; cleaning up\n"
    told = finding(built_tree(LARCH, NO_CAMERA), "camera", episodes(log, HUBS))
    assert (told.verdict, told.symptom) == (Verdict.UNSEEN, Symptom.UNSEEN)
    assert f"the USB controller at {XHCI} died" in told.reasons[0]


_EC = "ACPI Error: Timeout from EC hardware or EC device driver (20220331/evregion-303)"


@pytest.mark.parametrize("battery", ["healthy", "zero", "silent", "absent"])
def test_without_the_embedded_controller_nothing_is_said_of_the_battery(built_tree: BuiltTree, battery: str) -> None:
    """Firmware asks that controller for presence and readings alike."""
    conditions = HEALTHY if battery == "healthy" else Conditions(battery=battery)
    told = finding(built_tree(LARCH, conditions), "battery", episodes(f"{BOOT}[   12.000000] {_EC}\n", HUBS))
    assert (told.verdict, told.symptom) == (Verdict.UNSEEN, Symptom.UNSEEN)
    assert "the embedded controller did not answer in time (kernel's log, lines: 1)" in told.reasons[0]


def test_a_name_does_not_silence_the_battery(built_tree: BuiltTree) -> None:
    root = built_tree(LARCH, HEALTHY)
    log = f"{BOOT}[   12.000000] usb 1-5: Product: x\n[   12.000001] {_EC}\n"
    capture = take(CopiedTree(str(root)), taken_at="", log=log)
    assert findings(capture, PROFILE).of("battery").verdict is Verdict.PRESENT


def test_a_real_kernels_failed_touchpad_is_given_up(real_tree: RealTree) -> None:
    told = findings(look(real_tree("touchpad-enumeration-failure")), PROFILE).of("touchpad")
    assert (told.verdict, told.rung, told.would_tell) == (Verdict.IMPAIRED, Rung.ATTACHED, "")
