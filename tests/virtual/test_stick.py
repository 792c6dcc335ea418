"""The bench stick in emulated laptops: it starts under firmware that enforces Secure Boot, and what it says is true.

The truth is what was done to the laptop. What the screen showed is read as the
text that the stick sends along the serial line, what was captured from the
stick's data partition, and both when the laptop has lost its power.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from virtual.heron_14e import HERON_14E
from virtual.laptop import HEALTHY, Condition
from virtual.larch_13 import LARCH_13
from virtual.layout import Layout
from virtual.own_disk import digest, repaired
from virtual.stick_boot import VARIABLES, Bench, beyond_data, captures_on, from_stick, with_other_kernel, with_words
from virtual.usb_parts import PARTS, Fault
from virtual.variables import level_written, not_of_firmware

from usbwatch.capture import load

pytestmark = pytest.mark.virtual

_HERE = Path(__file__).parent
PROFILES = {
    LARCH_13.profile: _HERE.parent.parent / "profiles" / "fernhill-larch-13.toml",
    HERON_14E.profile: _HERE / "profiles" / "brackwell-heron-14e.toml",
}
ABSENT, SILENT = ("missing", "absent"), ("impaired", "there, but does not talk")
FAILED = ("impaired", "failed to enumerate")

ANSWER, SAVED = r"Keys:", r"usbwatch times"
_START_S, _SAVE_S = 240, 120
_BLINKING_S = 20
_WHOLE_SCREEN = "tr -c ' -~' ' ' </dev/vcs1 | fold -w $(stty size </dev/tty1 | cut -d' ' -f2); echo"
"""What stands on the console (vcs(4)), letters alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What is true of a laptop, and what else the screen must say."""

    untrue: Mapping[str, tuple[str, str]]
    """Verdict and symptom of each expected device that is not as in a healthy laptop."""
    says: tuple[str, ...] = ()


def assert_true(truth: Truth, screen: str, capture: Path, layout: Layout) -> None:
    """The screen and the capture must agree with the truth."""
    names = named_parts(layout)
    for verdict in ("missing", "impaired"):
        assert named_on(screen, verdict) == {names[one] for one, said in truth.untrue.items() if said[0] == verdict}
    for words in truth.says:
        assert words in re.sub(r"\s+", " ", screen)
    assert not_well(capture, layout) == dict(truth.untrue)


def named_parts(layout: Layout) -> dict[str, str]:
    """What the profile calls each expected device."""
    document = tomllib.loads(PROFILES[layout.profile].read_text("utf-8"))
    return {device: one["name"] for device, one in document["device"].items()}


def named_on(screen: str, verdict: str) -> set[str]:
    """The parts that rows of the screen call ``missing``, or ``impaired``."""
    rows = re.findall(r"^(?:X|[^\w\s]) [A-Z/ ]+  (.+)$", screen, re.MULTILINE)
    pieces = [piece.split(" ", 1) for row in rows for piece in row.strip().split("; ")]
    lists = [piece[1] for piece in pieces if piece[0] == verdict.upper()]
    return {name for names in lists for name in names.split(", ")}


def not_well(capture: Path, layout: Layout) -> dict[str, tuple[str, str]]:
    """The expected devices that are not as in a healthy laptop, as the bench computer tells them from a capture."""
    profile = str(PROFILES[layout.profile])
    command = [sys.executable, "-m", "usbwatch", "check", "--json", "--profile", profile, str(capture)]
    done = subprocess.run(command, capture_output=True, check=False)
    assert done.returncode in (0, 10, 11), done.stderr.decode()
    told: dict[str, Any] = json.loads(done.stdout)
    assert told["unexpected"] == []
    well = dict.fromkeys(("lid", "power-button"), ("present", "not observed"))  # declared, never proven
    return {
        one["device"]: (one["verdict"], one["symptom"])
        for one in told["findings"]
        if (one["verdict"], one["symptom"]) != well.get(one["device"], ("present", "working"))
    }


def told_until(bench: Bench, wanted: str, timeout_s: float) -> str:
    """What the serial line says up to and with a line that begins so."""
    return "\n".join(bench.machine.until(wanted, timeout_s))


def answer_of(bench: Bench) -> str:
    """The answer, as the serial line has it, once it is saved."""
    told = told_until(bench, ANSWER, _START_S).rpartition("and weighing ...")[2]
    saved = told_until(bench, SAVED, _SAVE_S)
    assert "Saved on this stick: captures/" in saved
    return told + saved


def picture(bench: Bench, name: str, folder: Path) -> None:
    """Save a picture of the screen, which must not be blank.

    ``USBWATCH_PICTURES=docs/pictures`` keeps it as ``stick-NAME.png``, in few colours, once nothing blinks any more.
    """
    kept = os.environ.get("USBWATCH_PICTURES")
    if kept:
        time.sleep(_BLINKING_S)
    taken = folder / f"stick-{name}.png"
    bench.machine.screen(taken)
    with Image.open(taken) as screen:
        assert 0.01 < sum(screen.convert("L").histogram()[64:]) / (screen.width * screen.height) < 1
        if kept:
            screen.convert("P", palette=Image.Palette.ADAPTIVE, colors=16).save(Path(kept) / taken.name, optimize=True)


def captures(stick: Path, folder: Path) -> list[Path]:
    """The captures on a stick, the oldest first; each is whole, or ``load`` would refuse it."""
    found = [path for path in captures_on(stick, folder) if re.fullmatch(r"[^.]+\.json", path.name)]
    return sorted(found, key=lambda path: load(str(path)).taken_at)


def assert_unchanged(bench: Bench, image: Path, before: str) -> None:
    """The laptop's disk is as it was, bit for bit, and so is the stick beside its data partition."""
    assert digest(bench.disk) == before
    assert beyond_data(bench.stick) == beyond_data(image)


def test_a_mount_of_the_laptops_disk_would_be_noticed(own_disk: Path, tmp_path: Path) -> None:
    assert digest(repaired(own_disk, tmp_path / "repaired")) != digest(own_disk)


def test_a_changed_kernel_does_not_start(stick_image: Path, own_disk: Path, tmp_path: Path) -> None:
    """That the firmware enforces Secure Boot: with one bit of the kernel changed there is no start."""
    image = with_other_kernel(stick_image, tmp_path / "image")
    with from_stick(image, LARCH_13, HEALTHY, tmp_path, socket_name="1", disk=own_disk) as bench:
        bench.machine.until(r".*bad shim signature", _START_S)


def test_top_case_lost_no_pack_no_ps2_nothing_pressed(stick_image: Path, own_disk: Path, tmp_path: Path) -> None:
    """With a shell on the serial line, which sees what the kernel says, and the very letters on the screen."""
    image, before = with_words(stick_image, tmp_path / "image", "usbwatch.shell"), digest(own_disk)
    parts = ("keyboard", "touchpad", "fingerprint-reader")
    truth = Truth(
        untrue={**dict.fromkeys(parts, ABSENT), "battery": ABSENT},
        says=("Fernhill Larch 13, serial LG-0001-DEMO", "Likeliest cause: Top-case flex", "Saved on this stick"),
    )
    condition = Condition(missing=parts, gauge="no pack", ps2=False)
    with from_stick(image, LARCH_13, condition, tmp_path, socket_name="1", disk=own_disk) as bench:
        bench.machine.until(".*@@ READY", _START_S)
        waiting = "n=0; until grep -q 'Saved on' /dev/vcs1; do n=$((n+1)); [ $n -lt 300 ] || exit 9; sleep 1; done"
        assert bench.machine.run(waiting).code == 0
        screen = bench.machine.run(_WHOLE_SCREEN).output
        picture(bench, "top-case-lost", tmp_path)
        asked = ("dmesg", "cat /proc/mounts", "tail -n +2 /proc/swaps")
        log, mounts, swaps = (bench.machine.run(one).output for one in asked)
        assert bench.writes_to_disk() == 0
    # arch/x86/kernel/setup.c, and the distribution's own lockdown under Secure Boot.
    assert "secureboot: Secure boot enabled" in log
    assert "Kernel is locked down from EFI Secure Boot" in log
    assert {row.split()[2] for row in mounts.splitlines()} & {"vfat", "ext4", "ext3", "fuseblk"} == set()
    assert swaps == ""
    assert_unchanged(bench, image, before)
    (capture,) = captures(bench.stick, tmp_path / "data")
    assert_true(truth, screen, capture, LARCH_13)


@pytest.mark.further
def test_reseated_by_a_person_with_a_helper_keyboard(stick_image: Path, own_disk: Path, tmp_path: Path) -> None:
    """Gauge silent, touchpad loose, keyboard dead, and one like it in a socket. Then the touchpad is seated again."""
    before = digest(own_disk)
    twin = replace(PARTS["keyboard"], product="Bench Keyboard")
    condition = Condition(missing=("keyboard",), gauge="silent", sockets={"2": twin})
    first = Truth(
        untrue={"keyboard": ABSENT, "touchpad": ABSENT, "battery": SILENT},
        says=(),
    )
    after = replace(first, untrue={"keyboard": ABSENT, "battery": SILENT})
    with from_stick(stick_image, LARCH_13, condition, tmp_path, socket_name="1", disk=own_disk) as bench:
        bench.machine.until(".*Booting", _START_S)
        bench.parts["touchpad"].unplug()
        screens = [answer_of(bench)]
        picture(bench, "touchpad-loose", tmp_path)
        bench.press("c")
        asked = told_until(bench, r" 0 ", _SAVE_S)
        picture(bench, "which-step", tmp_path)
        bench.parts["touchpad"].plug()
        found = re.search(r"(\d)  Top-case flex opened and seated again", asked)
        assert found
        bench.press(found[1])
        screens.append(answer_of(bench))
        picture(bench, "touchpad-seated", tmp_path)
        bench.press("o")
        told_until(bench, r" y ", _SAVE_S)
        bench.press("y")
        bench.machine.ended(_SAVE_S)
    assert_unchanged(bench, stick_image, before)
    taken = captures(bench.stick, tmp_path / "data")
    for truth, screen, capture in zip((first, after), screens, taken, strict=True):
        assert_true(truth, screen, capture, LARCH_13)


@pytest.mark.further
def test_no_picture_at_all(stick_image: Path, own_disk: Path, tmp_path: Path) -> None:
    """Graphics are dead: the serial line has the answer, and the camera that does not get far."""
    before = digest(own_disk)
    condition = Condition(missing=("graphics",), fails={"camera": {"device": Fault.BUS_ERROR}})
    # Without graphics nothing can be known of the panel: it is not called missing.
    untrue = {"graphics": ABSENT, "panel": ("unseen", "not observed"), "camera": FAILED}
    truth = Truth(untrue=untrue, says=("1 is impaired; 1 unseen",))
    with from_stick(stick_image, LARCH_13, condition, tmp_path, socket_name="3", disk=own_disk) as bench:
        screen = answer_of(bench)
        assert bench.writes_to_disk() == 0
    assert_unchanged(bench, stick_image, before)
    (capture,) = captures(bench.stick, tmp_path / "data")
    assert_true(truth, screen, capture, LARCH_13)
    # All that a start leaves in the firmware's variables (docs/stick.md): the level that shim has in itself.
    (tmp_path / "new").mkdir()
    fresh = Path(shutil.copy(VARIABLES, tmp_path / "new"))
    level = level_written(not_of_firmware(fresh, bench.machine.variables))
    assert re.match(r"sbat,1,\d{10}\nshim,\d+\ngrub,\d+\n", level)
