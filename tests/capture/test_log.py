"""The kernel's log: what became of each port and device, one episode a trouble.

The lines of a real kernel, and what had been done to the device, are those of
``tests/data/kernel-log/README.md`` and ``tests/data/trees/README.md``.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.looking import XHCI, look
from support.sysfs import Conditions
from support.units import LARCH

from usbwatch.capture.log import ENUMERATION_FAILED, OVER_CURRENT, STILL_ENUMERATING, episodes
from usbwatch.model import Rung

_Tree = Callable[..., Path]
_PAD = f"{XHCI}/usb2/4.2"
_HUBS = {"1": f"{XHCI}/usb2", "2": f"{XHCI}/usb3"}


def test_a_real_kernels_failed_touchpad_is_one_episode(real_tree: _Tree) -> None:
    """Nine lines of kernel 6.1 tell of it: eight failed reads with -71 and the giving up."""
    found = look(real_tree("touchpad-enumeration-failure")).episodes
    assert [(one.location, one.trouble, one.count, one.errno) for one in found] == [(_PAD, ENUMERATION_FAILED, 9, -71)]
    assert found[0].lines[0].endswith("usb 1-4.2: device descriptor read/64, error -71")
    assert found[0].lines[-1].endswith("usb 1-4-port2: unable to enumerate USB device")


@pytest.mark.parametrize(
    "archive",
    ["healthy", "keyboard-missing", "keyboard-touchpad-missing", "external-devices"],
)
def test_no_other_real_log_tells_of_trouble(real_tree: _Tree, archive: str) -> None:
    assert look(real_tree(archive)).episodes == ()


def test_a_real_kernels_log_says_that_the_battery_slot_was_empty_at_start(real_tree: _Tree) -> None:
    found = look(real_tree("battery-not-present")).episodes
    assert [(one.location, one.subject, one.trouble) for one in found] == [("", "BAT0", "battery slot empty")]


_LOGS = Path(__file__).parent.parent / "data" / "kernel-log"
_CAMERA, _READER, _KEYBOARD = f"{XHCI}/usb2/5", f"{XHCI}/usb2/4.3", f"{XHCI}/usb2/4.1"

_BOOT = f"[    0.000000] Command line: {'x' * 200}\n"
"""A line that no device wrote, and long enough that nothing cut off in front of it reaches further."""


def _read(name: str) -> str:
    return _BOOT + (_LOGS / f"{name}.txt").read_text(encoding="utf-8")


_REAL = {
    "camera-silent": (_CAMERA, STILL_ENUMERATING, -110, Rung.ATTACHED, (11, 12, 13, 14)),
    "fingerprint-silent": (_READER, STILL_ENUMERATING, -110, Rung.ATTACHED, (15, 16)),
    "camera-garbled": (_CAMERA, ENUMERATION_FAILED, -71, Rung.ATTACHED, (12, 13, 14, 15)),
    "fingerprint-garbled": (_READER, ENUMERATION_FAILED, -71, Rung.ATTACHED, (44, 45, 46, 47)),
    "camera-config-silent": (_CAMERA, ENUMERATION_FAILED, -110, Rung.ADDRESSED, (19, 20, 21, 22)),
    "camera-config-refused": (_CAMERA, ENUMERATION_FAILED, -32, Rung.ADDRESSED, (29, 30, 31, 32)),
    "camera-strings-refused": (_CAMERA, "strings not read", -32, Rung.IDENTIFIED, ()),
    "camera-full-speed": (_CAMERA, "not at top speed", 0, Rung.IDENTIFIED, ()),
    "keyboard-report-refused": (_KEYBOARD, "HID probe failed", -32, Rung.IDENTIFIED, ()),
    "keyboard-report-garbled": ("", "HID probe failed", -22, Rung.ABSENT, ()),
}


@pytest.mark.parametrize("name", _REAL)
def test_what_a_real_kernel_says_of_a_fault(name: str) -> None:
    """``read/64`` proves something attached; a failed read of the configuration, that the device descriptor came."""
    found = episodes(_read(name), _HUBS)
    told = {(one.location, one.trouble, one.errno, one.rung, one.device_numbers) for one in found}
    assert _REAL[name] in told
    assert {trouble for _, trouble, *_ in told} <= {_REAL[name][1], "not at top speed"}


def test_a_port_that_is_retried_is_given_up_once_the_log_goes_on_without_it() -> None:
    """Three tries of 5 s for each descriptor (usbcore.initial_descriptor_timeout): 20 s without a line is the end."""
    log = _read("camera-silent")
    later = "[  {:d}.000000] nvme nvme0: pci function 0000:00:06.0\n"
    assert [one.trouble for one in episodes(log + later.format(95), _HUBS)] == [STILL_ENUMERATING]
    assert [one.trouble for one in episodes(log + later.format(120), _HUBS)] == [ENUMERATION_FAILED]


def test_a_device_that_has_just_been_plugged_is_still_enumerating_without_any_failure() -> None:
    (one,) = episodes(f"{_BOOT}[   12.000000] usb 1-5: new high-speed USB device number 9 using xhci_hcd\n", _HUBS)
    assert (one.trouble, one.errno, one.rung, one.device_numbers) == (STILL_ENUMERATING, 0, Rung.ATTACHED, (9,))


def test_a_device_that_failed_and_came_after_all_is_told_so() -> None:
    found = episodes(_read("camera-flapping"), _HUBS)
    assert [(one.location, one.trouble, one.count) for one in found] == [
        (_CAMERA, "enumerated after failures", 2),
        (_CAMERA, "intermittent", 2),
    ]
    assert (found[1].first_us, found[1].last_us, found[1].device_numbers) == (13_442_999, 14_353_549, (3, 11))


_STAGES = [("device", -71), ("device", -110), ("address", -71), ("configuration", -32)]


@pytest.mark.parametrize(("stage", "errno"), _STAGES)
def test_every_way_of_failing_is_one_episode_at_its_place(built_tree: _Tree, stage: str, errno: int) -> None:
    found = look(built_tree(LARCH, Conditions(failing={"touchpad": (stage, errno)}))).episodes
    assert [(one.location, one.trouble, one.errno) for one in found] == [(_PAD, ENUMERATION_FAILED, errno)]


def test_bus_numbers_of_the_log_are_those_of_the_same_boot(built_tree: _Tree) -> None:
    conditions = Conditions(failing={"touchpad": ("device", -71)}, bus_numbers={"xhci": (9, 3)})
    found = look(built_tree(LARCH, conditions)).episodes
    assert [one.location for one in found] == [_PAD]
    assert "usb 9-4.2: " in found[0].lines[0]


_LINES = [
    ("usb 1-4.2: device descriptor read/64, error -71", f"{XHCI}/usb2/4.2", STILL_ENUMERATING, -71),
    ("usb 1-5: device descriptor read/8, error -32", f"{XHCI}/usb2/5", STILL_ENUMERATING, -32),
    ("usb 1-5: device descriptor read/all, error -110", f"{XHCI}/usb2/5", STILL_ENUMERATING, -110),
    ("usb 1-5: device not accepting address 7, error -71", f"{XHCI}/usb2/5", STILL_ENUMERATING, -71),
    ("usb 1-5: unable to read config index 0 descriptor/start: -71", f"{XHCI}/usb2/5", STILL_ENUMERATING, -71),
    ("usb 1-5: can't read configurations, error -61", f"{XHCI}/usb2/5", STILL_ENUMERATING, -61),
    ("usb usb1-port5: unable to enumerate USB device", f"{XHCI}/usb2/5", ENUMERATION_FAILED, 0),
    ("usb usb2-port3: unable to enumerate USB device", f"{XHCI}/usb3/3", ENUMERATION_FAILED, 0),
    ("usb 1-4-port2: unable to enumerate USB device", f"{XHCI}/usb2/4.2", ENUMERATION_FAILED, 0),
    ("usb usb1-port5: Cannot enable. Maybe the USB cable is bad?", f"{XHCI}/usb2/5", STILL_ENUMERATING, 0),
    ("usb usb1-port5: connect-debounce failed", f"{XHCI}/usb2/5", ENUMERATION_FAILED, 0),
    ("usb usb1-port3: over-current condition", f"{XHCI}/usb2/3", OVER_CURRENT, 0),
    ("usb 9-5: device descriptor read/8, error -71", "", STILL_ENUMERATING, -71),
]


@pytest.mark.parametrize(("line", "location", "trouble", "errno"), _LINES, ids=[row[0] for row in _LINES])
def test_lines_of_the_kernel(line: str, location: str, trouble: str, errno: int) -> None:
    """Format strings: drivers/usb/core/hub.c and config.c. With nothing after it a failure is not the last word."""
    logged = f"[   12.345678] {line}"
    (found,) = episodes(f"{_BOOT}{logged}\n", _HUBS)
    assert (found.location, found.trouble, found.count, found.errno, found.lines) == (
        location,
        trouble,
        1,
        errno,
        (logged,),
    )
    assert (found.first_us, found.last_us, found.doubtful) == (12_345_678, 12_345_678, 0)
    assert found.subject == ("" if location else "9-5")


@pytest.mark.parametrize(
    "prefix", ["[   12.345678] ", "<3>[   12.345678] ", "[   12.345678][  T123] ", "[   12.345678][   C0] "]
)
def test_stamps_that_kernels_print(prefix: str) -> None:
    """kernel/printk/printk.c: caller ids come with CONFIG_PRINTK_CALLER, ``<level>`` with a raw read."""
    assert len(episodes(f"{_BOOT}{prefix}usb 1-5: device descriptor read/8, error -71\n", _HUBS)) == 1


@pytest.mark.parametrize(
    "line",
    [
        "[    1.000000] usb 1-5: Product: usb 1-6: device descriptor read/8, error -71",
        "[    1.000000] usb 1-5: Product: x [    1.000000] usb 1-6: device descriptor read/8, error -71",
        "usb 1-5: device descriptor read/8, error -71",
        "[    1.000000] usb 1-5: device descriptor read/8, error -71 " + "x" * 400,
        "",
    ],
    ids=["told by a device", "told by a device with a stamp", "no stamp", "longer than any", "empty"],
)
def test_lines_that_tell_no_trouble(line: str) -> None:
    """A device can put any text into its own strings, never at the beginning of a line."""
    assert episodes(f"{_BOOT}{line}\n", _HUBS) == ()


def test_a_bus_that_is_gone_is_called_what_the_kernel_calls_it() -> None:
    """A real kernel's lines of a USB controller that left (drivers/usb/core/hub.c: usb_disconnect of the root hub)."""
    lines = ("usb usb9: USB disconnect, device number 1", "usb 9-7: USB disconnect, device number 2")
    found = episodes(_BOOT + "".join(f"[   40.14533{number}] {line}\n" for number, line in enumerate(lines)), _HUBS)
    assert [(one.location, one.subject, one.trouble) for one in found] == [
        ("", "9-7", "disconnected"),
        ("", "usb9", "disconnected"),
    ]


def test_many_lines_of_one_trouble_are_counted_and_a_few_kept() -> None:
    lines = [f"[   {second}.000000] usb 1-5: device descriptor read/8, error -71" for second in range(10, 40)]
    (episode,) = episodes(_BOOT + "\n".join(lines), _HUBS)
    assert (episode.count, episode.lines) == (30, (lines[0], lines[1], lines[-2], lines[-1]))


def test_an_error_number_that_no_kernel_prints_does_not_get_in() -> None:
    found = episodes(f"{_BOOT}[    1.000000] usb 1-5: device descriptor read/8, error -{'9' * 30}\n", _HUBS)
    assert all(abs(episode.errno) < 2**31 for episode in found)


@pytest.mark.properties
class TestAnyLog:
    """No text raises anything, and no line is counted that is not there."""

    @given(st.text())
    def test_any_text(self, log: str) -> None:
        assert sum(episode.count for episode in episodes(log, _HUBS)) <= len(log.splitlines())

    @given(st.lists(st.sampled_from([f"[    1.000000] {row[0]}" for row in _LINES] + ["", "other"])))
    def test_lines_add_up(self, lines: list[str]) -> None:
        told = [line for line in lines if line.startswith("[")]
        assert sum(episode.count for episode in episodes(_BOOT + "\n".join(lines), _HUBS)) == len(told)
