"""What over-current at a port adds to the finding of the device that is expected there."""

from __future__ import annotations

from dataclasses import replace

import pytest
from conftest import BuiltTree
from support.looking import look
from support.sysfs import Conditions
from support.units import LARCH

from usbwatch.capture.log.troubles import OVER_CURRENT
from usbwatch.compare import findings, over_current
from usbwatch.model import Episode, Finding, Verdict
from usbwatch.profile import find

PROFILE = find("fernhill-larch-13")
CAMERA = "pci0000:00/14.0/usb2/5"
TOLD = Episode(location=CAMERA, trouble=OVER_CURRENT, count=2)
BRANCH = "a shorted or overloaded branch (ports can share one)"


def finding(built_tree: BuiltTree, conditions: Conditions, *told: Episode, device: str = "camera") -> Finding:
    capture = look(built_tree(LARCH, conditions))
    return findings(replace(capture, episodes=(*capture.episodes, *told)), PROFILE).of(device)


def test_the_word_is_that_of_the_log() -> None:
    assert over_current._OVER_CURRENT == OVER_CURRENT


CASES = {
    "missing": (Conditions(missing=("camera",), over_current={"5": 3}), Verdict.MISSING),
    "present": (Conditions(over_current={"5": 3}), Verdict.PRESENT),
    "slow": (Conditions(slow={"camera": 12}, over_current={"5": 3}), Verdict.IMPAIRED),
    "failing": (
        Conditions(missing=(), failing={"camera": ("device", -71)}, over_current={"5": 3}),
        Verdict.IMPAIRED,
    ),
}


@pytest.mark.parametrize(("conditions", "verdict"), CASES.values(), ids=CASES.keys())
def test_a_port_that_counted_says_so_and_changes_no_verdict(
    built_tree: BuiltTree, conditions: Conditions, verdict: Verdict
) -> None:
    found = finding(built_tree, conditions)
    assert found.verdict is verdict
    assert found.reasons[-1] == f"its port has counted 3 over-current changes: {BRANCH}"


def test_a_port_that_counted_nothing_says_nothing(built_tree: BuiltTree) -> None:
    found = finding(built_tree, Conditions(missing=("camera",)))
    assert not [reason for reason in found.reasons if "over-current" in reason]


def test_another_ports_count_is_not_told_here(built_tree: BuiltTree) -> None:
    found = finding(built_tree, Conditions(over_current={"5": 3}), device="bluetooth")
    assert not [reason for reason in found.reasons if "over-current" in reason]


@pytest.mark.parametrize("missing", [(), ("camera",)], ids=["present", "missing"])
def test_the_log_speaks_where_the_port_did_not_count(built_tree: BuiltTree, missing: tuple[str, ...]) -> None:
    """Kernels before 4.17 have no count."""
    found = finding(built_tree, Conditions(missing=missing), TOLD)
    assert found.reasons[-1] == f"its port reported over-current (kernel's log, lines: 2): {BRANCH}"


def test_it_is_told_once_when_both_know(built_tree: BuiltTree) -> None:
    found = finding(built_tree, Conditions(missing=("camera",), over_current={"5": 1}), TOLD)
    assert [reason for reason in found.reasons if "over-current" in reason] == [
        f"its port has counted 1 over-current change: {BRANCH}"
    ]


def test_another_trouble_of_the_log_is_no_over_current(built_tree: BuiltTree) -> None:
    found = finding(built_tree, Conditions(), replace(TOLD, trouble="disconnected"))
    assert not [reason for reason in found.reasons if "over-current" in reason]
