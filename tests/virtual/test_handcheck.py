"""A person's hands on the emulated laptop: its control socket presses keys, and the program says what answered."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from virtual.laptop import Laptop
from virtual.program import begun, ended, sh, standing, until, usbwatch

pytestmark = pytest.mark.virtual

PROFILE = "--profile generic-clamshell"
KEYBOARD = "platform/i8042/kbd"
MOUSE = "platform/i8042/aux"
USB = "pci0000:00/14.0/usb2"
KEYBOARD_NODE = "/dev/input/$(basename /sys/devices/platform/i8042/serio0/input/input*/event*)"


@pytest.fixture(scope="module")
def laptop_with_ps2(healthy_laptop: Laptop) -> Iterator[Laptop]:
    """Without its USB keyboard, the one that is left is the emulator's on PS/2."""
    before = standing(healthy_laptop)
    healthy_laptop.parts["keyboard"].unplug()
    sh(healthy_laptop, "settle 15 12")
    yield healthy_laptop
    healthy_laptop.parts["keyboard"].plug()
    sh(healthy_laptop, "settle 15 12")
    assert standing(healthy_laptop) == before


def by_hand(laptop: Laptop, deed: str) -> None:
    """Give the emulator an order of its monitor: ``sendkey a``, ``mouse_move 10 10``."""
    laptop.machine.change("human-monitor-command", **{"command-line": deed})


def handcheck(laptop: Laptop, arguments: str, plea: str, *deeds: str) -> tuple[int, dict[str, Any], str]:
    """Exit code, document and standard error of a hand check in which these deeds follow the plea."""
    sh(laptop, "rm -f /tmp/hand.*")
    folder = begun(laptop, "handcheck", *arguments.split(), *PROFILE.split(), "--json")
    until(laptop, f"grep -q '{plea}' {folder}/err")
    for deed in deeds:
        by_hand(laptop, deed)
    code = ended(laptop, folder)
    told: dict[str, Any] = json.loads(laptop.machine.fetch(f"{folder}/out"))
    return code, told, laptop.machine.fetch(f"{folder}/err").decode()


def keyboard_in(checked: bytes) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in json.loads(checked)["findings"] if one["device"] == "keyboard")
    return found


def checked(laptop: Laptop, capture: str) -> dict[str, Any]:
    return keyboard_in(usbwatch(laptop, "check", capture, *PROFILE.split(), "--json", code=None))


def test_a_key_proves_the_keyboard_that_enumeration_could_not(laptop_with_ps2: Laptop) -> None:
    usbwatch(laptop_with_ps2, "capture", "-o", "/tmp/before.json", "--force")
    before = checked(laptop_with_ps2, "/tmp/before.json")
    assert (before["verdict"], before["symptom"]) == ("unseen", "not observed")
    # Another reader at the same node: were it grabbed, this one would get nothing (EVIOCGRAB, drivers/input/evdev.c).
    sh(laptop_with_ps2, f"(timeout 120 cat {KEYBOARD_NODE} >/tmp/other) & echo $! >/tmp/other.pid")

    code, told, said = handcheck(
        laptop_with_ps2, "keyboard -o /tmp/hand.json --timeout 60", "PRESS A FEW KEYS", "sendkey shift-a", "sendkey b"
    )

    assert code == 0, said
    seen = told["checks"][0]["observation"]
    assert (seen["response"], seen["location"]) == ("answered", f"{KEYBOARD}/input")
    assert (seen["events"], seen["letters"], seen["modifiers"]) == (3, 2, 1)
    assert 0 < seen["after_ms"] < 60_000
    after = checked(laptop_with_ps2, "/tmp/hand.json")
    assert (after["verdict"], after["symptom"], after["rung"]) == ("present", "working", "working")
    assert after["reasons"][0].startswith("answered a key press after ")
    sh(laptop_with_ps2, "kill $(cat /tmp/other.pid)")
    # Press and release of Shift, A and B, each with a report of its own (EV_SYN): 24 bytes an event.
    assert len(laptop_with_ps2.machine.fetch("/tmp/other")) >= 12 * 24


def test_what_another_node_answers_proves_nothing_of_the_touchpad(laptop_with_ps2: Laptop) -> None:
    code, told, said = handcheck(
        laptop_with_ps2, "pointing-device -o /tmp/hand.json --timeout 8", "MOVE A FINGER", "mouse_move 40 30"
    )
    assert code == 11
    moved = told["checks"][0]["observation"]
    assert moved["watched"] == [f"{USB}/4.2/if0/hid/input"]
    assert (moved["response"], moved["elsewhere"]) == ("not done", [f"{MOUSE}/input"])
    assert f"({MOUSE}/input), which is not the part asked for. Once more" in said


def test_without_rights_it_says_which_are_needed(laptop_with_ps2: Laptop) -> None:
    command = f"cd /tmp && python3 -m usbwatch handcheck keyboard {PROFILE} --json >/tmp/bench.out 2>/tmp/bench.err"
    outcome = laptop_with_ps2.machine.run(f"su bench -c '{command}'")
    assert outcome.code == 11, outcome.output
    said = laptop_with_ps2.machine.fetch("/tmp/bench.err").decode()
    assert "run it as root, or as a member of the group that owns /dev/input (on most systems: input)" in said
    told = json.loads(laptop_with_ps2.machine.fetch("/tmp/bench.out"))
    assert told["capture"] == ""
    assert told["checks"][0]["not_asked"] == "its node may not be opened by this user"
