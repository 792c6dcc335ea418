"""What failed or left at a port that no finding speaks of, and what an emulated machine cannot tell.

The tree is a real kernel's: ``tests/data/trees/README.md`` says what was done to
its touchpad, which hangs on the hardwired port 4.2.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from conftest import BuiltTree, RealTree
from support.looking import look
from support.sysfs import Conditions
from support.units import HERON, LARCH

from usbwatch.capture import CopiedTree, take
from usbwatch.capture.log.troubles import DISCONNECTED, ENUMERATION_FAILED, INTERMITTENT
from usbwatch.cli.one_check import checked
from usbwatch.compare import findings, losses
from usbwatch.model import Answer, Capture, Episode, Fact, Loss, Verdict
from usbwatch.profile import find
from usbwatch.show import check_view, plain
from usbwatch.show.verdict import Outcome, outcome, sentence

GENERIC, OWN = find("generic-clamshell"), find("fernhill-larch-13")
PORT = "pci0000:00/14.0/usb2/4.2"
FAILED = "touchpad-enumeration-failure"


def _with_port(capture: Capture, **facts: Fact) -> Capture:
    """The same look with other words of firmware about the port."""
    nodes = tuple(
        replace(node, facts={**node.facts, **facts}) if (node.bus, node.location) == ("usb-port", PORT) else node
        for node in capture.nodes
    )
    return replace(capture, nodes=nodes)


def _with_trouble(capture: Capture, trouble: str, location: str = PORT) -> Capture:
    return replace(capture, episodes=(Episode(location=location, trouble=trouble, count=1),))


def test_the_words_are_those_of_the_log() -> None:
    assert set(losses._TROUBLES) == {ENUMERATION_FAILED, DISCONNECTED, INTERMITTENT}


def test_a_wired_part_that_failed_is_never_nothing_wrong(real_tree: RealTree) -> None:
    found = findings(look(real_tree(FAILED)), GENERIC)
    assert found.losses == (Loss(location=PORT, what="failed to enumerate", inside=True),)
    assert outcome(found) is Outcome.WRONG
    assert sentence(found).startswith("a part wired to USB port 4.2 failed to enumerate; ")
    assert "nothing wrong" not in sentence(found)


def test_where_firmware_is_silent_the_unit_is_neither_well_nor_faulty(real_tree: RealTree) -> None:
    found = findings(_with_port(look(real_tree(FAILED)), connect_type="unknown"), GENERIC)
    assert [one.inside for one in found.losses] == [False]
    assert outcome(found) is Outcome.NOT_ALL_SEEN
    assert sentence(found).startswith("something at USB port 4.2 failed to enumerate, inside or outside; ")


def test_a_finding_that_speaks_of_the_port_is_enough(real_tree: RealTree) -> None:
    found = findings(look(real_tree(FAILED)), OWN)
    assert (found.of("touchpad").verdict, found.losses) == (Verdict.IMPAIRED, ())


def test_a_whole_unit_lost_nothing(real_tree: RealTree) -> None:
    assert findings(look(real_tree("healthy")), GENERIC).losses == ()


@pytest.mark.parametrize("trouble", [DISCONNECTED, INTERMITTENT])
def test_what_left_is_lost_where_it_was_wired(built_tree: BuiltTree, trouble: str) -> None:
    capture = _with_trouble(look(built_tree(LARCH, Conditions(missing=("touchpad",)))), trouble)
    wired = findings(_with_port(capture, connect_type="hardwired"), GENERIC)
    assert wired.losses == (Loss(location=PORT, what="left", inside=True),)
    # Of a port of which nothing is known a helper was most likely pulled out.
    assert findings(_with_port(capture, connect_type="unknown"), GENERIC).losses == ()


def test_what_is_there_again_is_not_lost(built_tree: BuiltTree) -> None:
    assert findings(_with_trouble(look(built_tree(LARCH)), INTERMITTENT), GENERIC).losses == ()


def test_a_helper_that_fails_in_a_socket_is_no_loss_of_the_unit(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH))
    sockets = [node.location for node in capture.nodes if node.facts.get("connect_type") == "hotplug"]
    assert sockets
    for socket in sockets:
        assert findings(_with_trouble(capture, ENUMERATION_FAILED, socket), GENERIC).losses == ()


# --- Emulated machines -----------------------------------------------------------------


def _emulated(root: Path) -> Capture:
    capture = look(root)
    return replace(capture, system=replace(capture.system, virtual="a sign of a hypervisor"))


def test_an_emulated_machine_has_no_part_to_name(real_tree: RealTree) -> None:
    found = findings(_emulated(real_tree(FAILED)), GENERIC)
    assert {one.verdict for one in found.findings} == {Verdict.UNSEEN}
    assert (found.other_model, found.losses, outcome(found)) == (True, (), Outcome.NOT_ALL_SEEN)
    assert any("a sign of a hypervisor" in notice and "No part is named" in notice for notice in found.notices)


def test_who_insists_on_a_profile_has_it_judged(real_tree: RealTree) -> None:
    found = findings(_emulated(real_tree(FAILED)), GENERIC, insisted=True)
    assert (found.other_model, outcome(found)) == (False, Outcome.WRONG)
    assert any("a sign of a hypervisor" in notice for notice in found.notices)


def test_a_profile_that_fits_is_used_on_an_emulated_machine_too(real_tree: RealTree) -> None:
    assert findings(_emulated(real_tree(FAILED)), OWN).of("touchpad").verdict is Verdict.IMPAIRED


# --- What a page must say ----------------------------------------------------------------


def test_without_a_profile_of_its_own_it_is_said_what_is_judged_of_speeds(real_tree: RealTree) -> None:
    tree = real_tree("camera-full-speed")
    said = "speeds are judged only where device and port both tell"
    assert any(said in notice for notice in findings(look(tree), GENERIC).notices)
    assert not any(said in notice for notice in findings(look(tree), OWN).notices)


def test_what_only_a_hand_can_prove_names_the_command_and_the_answer(built_tree: BuiltTree) -> None:
    capture = look(built_tree(HERON))
    keyboard = findings(capture, find("brackwell-heron-14")).of("keyboard")
    assert "usbwatch handcheck keyboard" in keyboard.would_tell
    assert "--answer all-keys-type=yes|no" in keyboard.would_tell


def test_a_no_by_hand_is_said_with_the_device_and_not_asked_again(built_tree: BuiltTree) -> None:
    no = (Answer(check="all-keys-type", yes=False),)
    keyboard = findings(look(built_tree(HERON)), find("brackwell-heron-14"), no).of("keyboard")
    assert keyboard.verdict is Verdict.UNSEEN
    assert keyboard.reasons[0].startswith("established by hand: Does every key")
    assert keyboard.reasons[0].endswith(" No.")
    assert "usbwatch handcheck keyboard" in keyboard.would_tell
    assert "--answer" not in keyboard.would_tell


def test_an_answer_still_settles_what_only_a_hand_can_prove(built_tree: BuiltTree) -> None:
    answers = (Answer(check="all-keys-type", yes=True),)
    keyboard = findings(look(built_tree(HERON)), find("brackwell-heron-14"), answers).of("keyboard")
    assert (keyboard.verdict, keyboard.would_tell) == (Verdict.PRESENT, "")


@pytest.mark.parametrize("log", [None, "", "no line of a kernel's log\n"], ids=["none", "empty", "no log"])
def test_an_empty_port_without_a_log_may_hide_a_failed_enumeration(built_tree: BuiltTree, log: str | None) -> None:
    """Ports tell their own state since kernel 6.6 (Documentation/ABI/testing/sysfs-bus-usb); these tell none."""
    tree = CopiedTree(str(built_tree(LARCH, Conditions(missing=("touchpad",)))))
    capture = take(tree, taken_at="", log=log)
    ports = tuple(replace(one, facts={**one.facts}) for one in capture.nodes)
    for port in ports:
        port.facts.pop("state", None)
    touchpad = findings(replace(capture, nodes=ports), OWN).of("touchpad")
    assert touchpad.verdict is Verdict.MISSING
    assert "a failed enumeration is not ruled out" in touchpad.reasons[0]


def test_the_page_says_which_node_was_taken_for_the_touchpad(real_tree: RealTree) -> None:
    """The kernel calls anything on a PS/2 port that moves a pointer a mouse (drivers/input/mouse/psmouse-base.c)."""
    said = "at platform/i8042/aux, which does not say whether it is a touchpad, a pointing stick or a mouse"
    failed, healthy = (
        plain(check_view(checked(look(real_tree(name)), GENERIC), 200), 200) for name in (FAILED, "healthy")
    )
    assert said in failed
    assert "No part is named: this profile does not say what is wired there" in failed
    assert "Nothing wrong found" not in failed
    assert said not in healthy
