"""What is said after a capture: each bus with its state, its nodes, and why it was not seen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned
from support.invented import capture

from usbwatch.model import Coverage, CoverageState
from usbwatch.show import capture_view, plain

GOLDEN = Path(__file__).parent / "golden"


@pytest.mark.parametrize("width", [60, 80])
def test_the_summary_is_as_stored(width: int) -> None:
    assert_golden(GOLDEN, f"capture-{width}.txt", plain(capture_view(capture(), "larch-13.json"), width))


@pytest.mark.parametrize("state", CoverageState, ids=[state.value for state in CoverageState])
def test_each_state_is_told_by_its_word(state: CoverageState) -> None:
    text = plain(capture_view(capture(coverage=(Coverage(bus="usb", state=state),)), "a.json"), 80)
    assert f"{state.value} " in text.splitlines()[-1]


def test_a_virtual_machine_is_called_one() -> None:
    made = capture()
    virtual = replace(made, system=replace(made.system, virtual="hypervisor in the SMBIOS strings"))
    assert "looks like a virtual machine (hypervisor in the SMBIOS strings)" in plain(capture_view(virtual, "a"), 120)


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_can_break_the_summary(text: str) -> None:
    shown = plain(capture_view(poisoned(capture(), text), text), 80)
    assert all(row.isprintable() for row in shown.removesuffix("\n").split("\n"))
