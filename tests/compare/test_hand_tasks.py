"""What a person is asked to do, and when the charger stays in."""

from __future__ import annotations

from dataclasses import replace

import pytest
from conftest import BuiltTree, RealTree
from support.looking import look
from support.units import HERON, LARCH, PLOVER

from usbwatch.capture import CopiedTree
from usbwatch.capture.watched_nodes import sources
from usbwatch.compare.hand_tasks import LEAST_CHARGE_PERCENT, HandTask, hand_tasks, why_charger_stays
from usbwatch.model import Capture, Deed, Fact, Kind, Node, Observation, Response, Rung
from usbwatch.profile import find

HERON_PROFILE, LARCH_PROFILE = find("brackwell-heron-14"), find("fernhill-larch-13")


def all_heard(root: str, capture: Capture) -> dict[str, str]:
    return {source.node.location: "" for source in sources(CopiedTree(root), capture)}


def tasks(built_tree: BuiltTree, laptop: object, profile: str, *wanted: str) -> dict[tuple[str, Deed], HandTask]:
    root = built_tree(laptop)
    capture = look(root)
    asked = hand_tasks(capture, find(profile), all_heard(str(root), capture), wanted)
    return {(task.device.id, task.deed): task for task in asked}


def test_by_itself_it_asks_for_what_only_a_hand_can_prove(built_tree: BuiltTree) -> None:
    found = tasks(built_tree, HERON, "brackwell-heron-14")
    assert list(found) == [("keyboard", Deed.PRESS), ("lid", Deed.CLOSE)]
    assert found["keyboard", Deed.PRESS].own == ("platform/i8042/kbd/input",)
    assert not any(task.why_not for task in found.values())


def test_the_power_button_is_never_asked_for(built_tree: BuiltTree) -> None:
    for laptop, profile in ((HERON, "brackwell-heron-14"), (LARCH, "fernhill-larch-13"), (PLOVER, "ostrey-plover-12")):
        asked = tasks(built_tree, laptop, profile, "power-button") | tasks(built_tree, laptop, profile)
        assert "power-button" not in {device for device, _ in asked}


def test_what_has_answered_is_not_asked_again(built_tree: BuiltTree) -> None:
    root = built_tree(HERON)
    lid = "acpi/_SB_.LID0/input"
    seen = Observation(function="lid", deed=Deed.CLOSE, response=Response.ANSWERED, watched=(lid,), location=lid)
    capture = replace(look(root), observations=(seen,))
    asked = hand_tasks(capture, HERON_PROFILE, all_heard(str(root), capture))
    assert [task.device.id for task in asked] == ["keyboard"]


def test_a_function_or_an_id_asks_for_that_alone(built_tree: BuiltTree) -> None:
    assert list(tasks(built_tree, LARCH, "fernhill-larch-13", "touchpad", "mains-adapter")) == [
        ("touchpad", Deed.MOVE),
        ("touchpad", Deed.CLICK),
        ("mains-adapter", Deed.PULL),
        ("mains-adapter", Deed.PLUG),
    ]


def test_a_part_that_is_not_there_is_not_asked_for_and_it_says_why(real_tree: RealTree) -> None:
    root = real_tree("keyboard-missing")
    capture = look(root)
    (task,) = hand_tasks(capture, LARCH_PROFILE, all_heard(str(root), capture), ("keyboard",))
    assert (task.own, task.why_not) == ((), "it is missing: no node of it is there to listen to")


def test_a_node_that_may_not_be_opened_is_not_asked_for(built_tree: BuiltTree) -> None:
    root = built_tree(HERON)
    capture = look(root)
    deaf = dict.fromkeys(all_heard(str(root), capture), "refused")
    asked = hand_tasks(capture, HERON_PROFILE, deaf)
    assert [(task.own, task.why_not) for task in asked] == [((), "refused")] * 2


def test_a_keyboard_of_which_nothing_says_whether_it_is_inside_is_not_asked_for(real_tree: RealTree) -> None:
    """A word typed on it would prove the unit's own; firmware's word on the ports is taken away here."""
    root = real_tree("healthy")
    capture = look(root)
    blank = replace(
        capture,
        nodes=tuple(
            replace(
                node, facts={key: fact for key, fact in node.facts.items() if key not in ("connect_type", "removable")}
            )
            for node in capture.nodes
            if node.bus != "serio"
        ),
    )
    generic = find("generic-clamshell")
    heard = all_heard(str(root), capture)
    (inside,) = hand_tasks(capture, generic, heard, ("keyboard",))
    (unknown,) = hand_tasks(blank, generic, heard, ("keyboard",))
    assert inside.why_not == ""
    assert unknown.why_not == "nothing says whether its node is inside the unit: unplug your own devices"


def with_battery(capture: Capture, rung: Rung = Rung.WORKING, **facts: Fact) -> Capture:
    """The same unit with other facts of its battery."""
    nodes = tuple(
        replace(node, rung=rung, facts={**node.facts, **facts})
        if node.bus == "power_supply" and "battery" in node.functions
        else node
        for node in capture.nodes
    )
    return replace(capture, nodes=nodes)


BATTERIES: dict[str, tuple[Rung, dict[str, Fact], str]] = {
    "charged": (Rung.WORKING, {"capacity": 60}, ""),
    "just enough": (Rung.WORKING, {"capacity": LEAST_CHARGE_PERCENT}, ""),
    "low": (Rung.WORKING, {"capacity": 7}, "the battery is at 7%: charge it to 20% first"),
    "mute": (Rung.ATTACHED, {}, "the battery does not talk: without its charger the unit might turn off"),
    "out of its bay": (
        Rung.WORKING,
        {"present": 0},
        "the battery does not talk: without its charger the unit might turn off",
    ),
    "without a word of its charge": (
        Rung.WORKING,
        {"capacity": ""},
        "the battery does not say how full it is: without its charger the unit might turn off",
    ),
}


@pytest.mark.parametrize(("rung", "facts", "why"), BATTERIES.values(), ids=BATTERIES)
def test_the_charger_is_pulled_only_when_a_battery_carries_the_unit(
    built_tree: BuiltTree, rung: Rung, facts: dict[str, Fact], why: str
) -> None:
    root = built_tree(LARCH)
    capture = with_battery(look(root), rung, **facts)
    assert why_charger_stays(capture) == why
    asked = hand_tasks(capture, LARCH_PROFILE, all_heard(str(root), capture), ("mains-adapter",))
    assert [(task.deed, task.why_not) for task in asked] == [(Deed.PULL, why), (Deed.PLUG, why)]


@pytest.mark.parametrize("snapshot", ["battery-not-present"])
def test_a_real_kernels_unit_without_a_battery_that_talks_keeps_its_charger(real_tree: RealTree, snapshot: str) -> None:
    assert "without its charger the unit" in why_charger_stays(look(real_tree(snapshot)))


def test_a_charger_that_is_out_is_only_plugged_in(built_tree: BuiltTree) -> None:
    root = built_tree(LARCH)
    capture = with_battery(look(root), Rung.ATTACHED)
    out = replace(
        capture,
        nodes=tuple(
            replace(node, facts={**node.facts, "online": 0}) if "online" in node.facts else node
            for node in capture.nodes
        ),
    )
    asked = hand_tasks(out, LARCH_PROFILE, all_heard(str(root), capture), ("mains-adapter",))
    assert [(task.deed, task.why_not) for task in asked] == [(Deed.PLUG, "")]


def test_a_stick_on_the_keyboards_port_does_not_speak_for_the_keys(built_tree: BuiltTree) -> None:
    root = built_tree(HERON)
    keys, stick = "platform/i8042/kbd/input", "platform/i8042/kbd/input#2"
    pointing = Node(
        bus="input",
        location=stick,
        kind=Kind.FUNCTION,
        rung=Rung.WORKING,
        functions=("pointing-device", "pointing-stick"),
    )
    capture = look(root)
    both = replace(capture, nodes=(*capture.nodes, pointing))
    heard = {**all_heard(str(root), capture), stick: ""}
    (task,) = hand_tasks(both, HERON_PROFILE, heard, ("keyboard",))
    assert task.own == (keys,)
