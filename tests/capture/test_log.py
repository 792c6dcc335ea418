"""The kernel's log: enumeration failures by place, one episode each."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.looking import XHCI, look
from support.sysfs import Conditions
from support.units import LARCH

from usbwatch.capture.log import ENUMERATION_FAILED, OVER_CURRENT, episodes
from usbwatch.model import Episode

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
    ["healthy", "keyboard-missing", "keyboard-touchpad-missing", "battery-not-present", "external-devices"],
)
def test_no_other_real_log_tells_of_trouble(real_tree: _Tree, archive: str) -> None:
    assert look(real_tree(archive)).episodes == ()


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
    ("usb 1-4.2: device descriptor read/64, error -71", f"{XHCI}/usb2/4.2", ENUMERATION_FAILED, -71),
    ("usb 1-5: device descriptor read/8, error -32", f"{XHCI}/usb2/5", ENUMERATION_FAILED, -32),
    ("usb 1-5: device descriptor read/all, error -110", f"{XHCI}/usb2/5", ENUMERATION_FAILED, -110),
    ("usb 1-5: device not accepting address 7, error -71", f"{XHCI}/usb2/5", ENUMERATION_FAILED, -71),
    ("usb 1-5: unable to read config index 0 descriptor/start: -71", f"{XHCI}/usb2/5", ENUMERATION_FAILED, -71),
    ("usb 1-5: can't read configurations, error -61", f"{XHCI}/usb2/5", ENUMERATION_FAILED, -61),
    ("usb usb1-port5: unable to enumerate USB device", f"{XHCI}/usb2/5", ENUMERATION_FAILED, 0),
    ("usb usb2-port3: unable to enumerate USB device", f"{XHCI}/usb3/3", ENUMERATION_FAILED, 0),
    ("usb 1-4-port2: unable to enumerate USB device", f"{XHCI}/usb2/4.2", ENUMERATION_FAILED, 0),
    ("usb usb1-port5: Cannot enable. Maybe the USB cable is bad?", f"{XHCI}/usb2/5", ENUMERATION_FAILED, 0),
    ("usb usb1-port5: connect-debounce failed", f"{XHCI}/usb2/5", ENUMERATION_FAILED, 0),
    ("usb usb1-port3: over-current condition", f"{XHCI}/usb2/3", OVER_CURRENT, 0),
    ("usb 9-5: device descriptor read/8, error -71", "", ENUMERATION_FAILED, -71),
]


@pytest.mark.parametrize(("line", "location", "trouble", "errno"), _LINES, ids=[row[0] for row in _LINES])
def test_lines_of_the_kernel(line: str, location: str, trouble: str, errno: int) -> None:
    """Format strings: drivers/usb/core/hub.c and config.c."""
    logged = f"[   12.345678] {line}"
    expected = Episode(location=location, trouble=trouble, count=1, errno=errno, lines=(logged,))
    assert episodes(f"{logged}\n", _HUBS) == (expected,)


@pytest.mark.parametrize(
    "prefix", ["[   12.345678] ", "<3>[   12.345678] ", "[   12.345678][  T123] ", "[   12.345678][   C0] "]
)
def test_stamps_that_kernels_print(prefix: str) -> None:
    """kernel/printk/printk.c: caller ids come with CONFIG_PRINTK_CALLER, ``<level>`` with a raw read."""
    assert len(episodes(f"{prefix}usb 1-5: device descriptor read/8, error -71\n", _HUBS)) == 1


@pytest.mark.parametrize(
    "line",
    [
        "[    1.000000] usb 1-5: new full-speed USB device number 4 using xhci_hcd",
        "[    1.000000] usb 1-5: USB disconnect, device number 4",
        "[    1.000000] usb 1-5: Product: usb 1-6: device descriptor read/8, error -71",
        "[    1.000000] usb 1-5: Product: x [    1.000000] usb 1-6: device descriptor read/8, error -71",
        "usb 1-5: device descriptor read/8, error -71",
        "[    1.000000] usb 1-5: device descriptor read/8, error -71 " + "x" * 400,
        "",
    ],
    ids=["new", "gone", "told by a device", "told by a device with a stamp", "no stamp", "longer than any", "empty"],
)
def test_lines_that_tell_no_trouble(line: str) -> None:
    """A device can put any text into its own strings, never at the beginning of a line."""
    assert episodes(f"{line}\n", _HUBS) == ()


def test_many_lines_of_one_trouble_are_counted_and_a_few_kept() -> None:
    lines = [f"[   {second}.000000] usb 1-5: device descriptor read/8, error -71" for second in range(10, 40)]
    (episode,) = episodes("\n".join(lines), _HUBS)
    assert (episode.count, episode.lines) == (30, (lines[0], lines[1], lines[-2], lines[-1]))


def test_an_error_number_that_no_kernel_prints_does_not_get_in() -> None:
    found = episodes(f"[    1.000000] usb 1-5: device descriptor read/8, error -{'9' * 30}\n", _HUBS)
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
        assert sum(episode.count for episode in episodes("\n".join(lines), _HUBS)) == len(told)
