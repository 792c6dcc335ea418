"""What changed between two captures of the invented Larch 13."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.hostile import HOSTILE, poisoned
from support.two_looks import XHCI, captures, look, mirrored, usb, with_parts

from usbwatch.compare.changes import changes
from usbwatch.model import Capture, Coverage, CoverageState, Episode, Kind, Node, Rung, System, UnitStrings
from usbwatch.model.changes import ChangeKind, Changes, FactChange

HUB = usb("4", "1209:0006", driver="hub")
KEYBOARD = usb("4.1", "1209:0001", facts={"speed_kbps": 12_000})
TOUCHPAD = usb("4.2", "1209:0002")
CAMERA = usb("5", "1209:0003", driver="uvcvideo", facts={"speed_kbps": 480_000})
BATTERY = Node(
    bus="power_supply",
    location="acpi/_SB_.BAT0/power_supply",
    kind=Kind.FUNCTION,
    rung=Rung.WORKING,
    identity="LB-4C50",
    facts={"charge_now": 4_100_000, "charge_full": 4_390_000, "cycle_count": 87, "status": "Full", "capacity": 93},
)
HEALTHY = look(HUB, KEYBOARD, TOUCHPAD, CAMERA, BATTERY)


def kinds(found: Changes) -> list[tuple[str, str]]:
    """Each node change as kind and place."""
    return [(change.kind.value, change.node.location.removeprefix(f"{XHCI}/")) for change in found.nodes]


def told(found: Changes) -> dict[str, tuple[object, object]]:
    """What differs in the only node that changed."""
    (change,) = found.nodes
    return {fact.field: (fact.before, fact.after) for fact in change.facts}


@pytest.mark.parametrize(
    ("after", "expected"),
    [
        pytest.param((KEYBOARD, TOUCHPAD), [], id="nothing"),
        pytest.param((TOUCHPAD, KEYBOARD), [], id="the same in another order"),
        pytest.param((TOUCHPAD,), [("gone", "4.1")], id="keyboard gone"),
        pytest.param((KEYBOARD, TOUCHPAD, CAMERA), [("new", "5")], id="camera new"),
        pytest.param((usb("4.3", "1209:0001"), TOUCHPAD), [("moved", "4.3")], id="keyboard moved"),
        pytest.param((usb("4.1", "1209:0007"), TOUCHPAD), [("replaced", "4.1")], id="keyboard replaced"),
        pytest.param((usb("4.1", "1209:0001", driver=""), TOUCHPAD), [("changed", "4.1")], id="driver lost"),
        pytest.param(
            (usb("4.2", "1209:0001"), usb("4.1", "1209:0002")),
            [("moved", "4.2"), ("moved", "4.1")],
            id="the two plugs swapped",
        ),
        pytest.param(
            (usb("4.1", "1209:0007"), TOUCHPAD, usb("4.3", "1209:0001")),
            [("new", "4.1"), ("moved", "4.3")],
            id="a stranger where the keyboard was",
        ),
        pytest.param(
            (usb("4.1", "", rung=Rung.ATTACHED), TOUCHPAD, usb("1", "1209:0001")),
            [("new", "1"), ("changed", "4.1")],
            id="no helper keyboard stands for one that fell silent in its place",
        ),
    ],
)
def test_each_node_is_told_once(after: tuple[Node, ...], expected: list[tuple[str, str]]) -> None:
    found = changes(look(KEYBOARD, TOUCHPAD), look(*after))
    assert kinds(found) == expected
    assert found.none is not bool(expected)


def test_a_lost_driver_is_told_with_the_rung() -> None:
    undriven = replace(KEYBOARD, driver="", rung=Rung.CONFIGURED)
    assert told(changes(look(KEYBOARD), look(undriven))) == {
        "driver": ("usbhid", ""),
        "rung": ("working", "configured"),
    }


def test_a_speed_that_fell_is_told() -> None:
    slow = replace(CAMERA, facts={"speed_kbps": 12_000})
    assert told(changes(HEALTHY, look(HUB, KEYBOARD, TOUCHPAD, slow, BATTERY))) == {
        "facts.speed_kbps": (480_000, 12_000)
    }


def test_a_used_battery_tells_its_wear_and_not_its_charge() -> None:
    used = replace(BATTERY, facts={**BATTERY.facts, "charge_now": 900_000, "capacity": 21, "status": "Discharging"})
    assert changes(look(BATTERY), look(used)).none
    worn = replace(used, facts={**used.facts, "charge_full": 4_200_000, "cycle_count": 141})
    assert told(changes(look(BATTERY), look(worn))) == {
        "facts.charge_full": (4_390_000, 4_200_000),
        "facts.cycle_count": (87, 141),
    }


@pytest.mark.parametrize(
    "sides", [(("usb",), ()), ((), ("usb",)), (("usb",), ("usb",))], ids=["before", "after", "both"]
)
def test_what_an_unseen_bus_may_hide_is_not_comparable(sides: tuple[tuple[str, ...], tuple[str, ...]]) -> None:
    before = look(HUB, KEYBOARD, BATTERY, unseen=sides[0])
    after = look(HUB, usb("4.3", "1209:0001"), unseen=sides[1])
    assert kinds(changes(before, after)) == [
        ("gone", BATTERY.location),
        ("not comparable", "4.1"),
        ("not comparable", "4.3"),
    ]


def test_a_port_is_seen_with_its_bus() -> None:
    port = Node(bus="usb-port", location=f"{XHCI}/4.1", kind=Kind.PORT, rung=Rung.ABSENT)
    assert kinds(changes(look(port), look())) == [("gone", "4.1")]
    assert kinds(changes(look(port), look(unseen=("usb",)))) == [("not comparable", "4.1")]


def test_a_bus_seen_in_one_capture_alone_is_a_change_of_coverage() -> None:
    (change,) = changes(HEALTHY, replace(HEALTHY, coverage=HEALTHY.coverage[1:])).coverage
    assert (change.bus, change.after) == ("usb", None)


@pytest.mark.parametrize(
    ("before", "after", "changed"),
    [
        (CoverageState.OK, CoverageState.EMPTY, False),
        (CoverageState.OK, CoverageState.NOT_THERE, True),
        (CoverageState.NOT_PERMITTED, CoverageState.OK, True),
        (CoverageState.NOT_PERMITTED, CoverageState.NOT_THERE, True),
        (CoverageState.FAILED, CoverageState.FAILED, False),
    ],
)
def test_an_empty_bus_is_seen_as_well_as_a_full_one(
    before: CoverageState, after: CoverageState, *, changed: bool
) -> None:
    first, second = (replace(look(), coverage=(Coverage(bus="usb", state=state),)) for state in (before, after))
    assert bool(changes(first, second).coverage) is changed


def test_a_fact_that_could_not_be_read_is_not_lost() -> None:
    known, unknown = replace(KEYBOARD, facts={"serial": "LG-0001-DEMO"}), replace(KEYBOARD, facts={})
    assert changes(look(known), look(unknown, unread=1)).none
    assert changes(look(unknown, unread=1), look(known)).none
    assert told(changes(look(known), look(unknown))) == {"facts.serial": ("LG-0001-DEMO", None)}
    assert told(changes(look(known, unread=1), look(unknown))) == {"facts.serial": ("LG-0001-DEMO", None)}


def test_a_driver_is_lost_whatever_could_not_be_read() -> None:
    assert told(changes(look(KEYBOARD), look(replace(KEYBOARD, driver=""), unread=1))) == {"driver": ("usbhid", "")}


@pytest.mark.parametrize(
    ("strings", "fields", "another"),
    [
        pytest.param({"product_serial": "LG-0002-DEMO"}, ["product_serial"], True, id="another unit"),
        pytest.param({"bios_version": "1.04"}, ["bios_version"], False, id="firmware update"),
        pytest.param({"product_serial": ""}, ["product_serial"], True, id="blank serial after a board swap"),
        pytest.param({}, [], False, id="the same unit"),
    ],
)
def test_firmware_strings_tell_another_machine(strings: dict[str, str], fields: list[str], *, another: bool) -> None:
    found = changes(HEALTHY, replace(HEALTHY, unit=replace(HEALTHY.unit, **strings)))
    assert [change.field for change in found.unit] == fields
    assert found.another_board is another


def test_a_serial_that_only_root_can_read_is_no_other_machine() -> None:
    without = replace(HEALTHY.unit, product_serial="")
    assert changes(look(), look(unit=without, unread=1)).none


def test_a_capture_without_any_string_is_no_other_machine() -> None:
    assert changes(HEALTHY, replace(HEALTHY, unit=UnitStrings())).none


def _trouble(count: int, errno: int = -71) -> tuple[Episode, ...]:
    return (Episode(location=TOUCHPAD.location, trouble="enumeration failed", count=count, errno=errno),) * (count > 0)


@pytest.mark.parametrize(
    ("before", "after", "log", "kind"),
    [
        pytest.param(_trouble(0), _trouble(9), "seen", ChangeKind.NEW, id="new"),
        pytest.param(_trouble(9), _trouble(0), "seen", ChangeKind.GONE, id="gone"),
        pytest.param(_trouble(9), _trouble(4), "seen", ChangeKind.CHANGED, id="fewer lines"),
        pytest.param(_trouble(9), _trouble(9, -110), "seen", ChangeKind.CHANGED, id="another error"),
        pytest.param(_trouble(9), _trouble(9), "seen", None, id="the same"),
        pytest.param(_trouble(9), _trouble(0), "unseen", ChangeKind.NOT_COMPARABLE, id="no log after"),
    ],
)
def test_troubles_of_the_log_go_by_place(
    before: tuple[Episode, ...], after: tuple[Episode, ...], log: str, kind: ChangeKind | None
) -> None:
    first = replace(look(), episodes=before)
    second = replace(look(unseen=("log",) if log == "unseen" else ()), episodes=after)
    assert [change.kind for change in changes(first, second).episodes] == ([kind] if kind else [])


def test_another_kernel_is_told_and_is_no_change_of_the_unit() -> None:
    found = changes(HEALTHY, replace(HEALTHY, system=System(platform="linux", kernel="6.12.0")))
    assert found.none
    assert found.system == (FactChange(field="kernel", before="", after="6.12.0"),)


def test_a_hub_that_is_gone_takes_all_along() -> None:
    before = look(HUB, *with_parts(KEYBOARD), *with_parts(TOUCHPAD), CAMERA)
    found = changes(before, look(CAMERA))
    assert {change.kind for change in found.nodes} == {ChangeKind.GONE}
    assert [change.before for change in found.nodes if not change.follows] == [HUB]
    assert len(found.nodes) == 7


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_can_stop_the_comparison(text: str) -> None:
    keep = frozenset({"bus", "location", "platform"})
    poison: Capture = poisoned(HEALTHY, text, keep)
    weird = replace(poison, nodes=tuple(replace(node, facts={text: text}, raw={text: text}) for node in poison.nodes))
    for before, after in ((HEALTHY, poison), (poison, HEALTHY), (HEALTHY, weird), (poison, weird), (weird, poison)):
        found = changes(before, after)
        assert [change.kind for change in found.nodes] == [change.kind for change in changes(after, before).nodes]
        assert len(found.nodes) == len(HEALTHY.nodes)
    assert changes(weird, weird).none


@pytest.mark.properties
@given(captures(), st.randoms(use_true_random=False))
def test_a_capture_differs_in_nothing_from_itself(capture: Capture, shuffler: random.Random) -> None:
    nodes = list(capture.nodes)
    shuffler.shuffle(nodes)
    assert changes(capture, replace(capture, nodes=tuple(nodes))) == Changes()


@pytest.mark.properties
@given(captures(), captures())
def test_told_backwards_the_changes_are_the_same(before: Capture, after: Capture) -> None:
    assert changes(after, before) == mirrored(changes(before, after))


@pytest.mark.properties
@given(captures(), captures())
def test_no_node_is_told_twice_and_none_that_differs_is_left_out(before: Capture, after: Capture) -> None:
    found = changes(before, after)
    for side, told_nodes in (
        (before, [change.before for change in found.nodes if change.before is not None]),
        (after, [change.after for change in found.nodes if change.after is not None]),
    ):
        places = [(node.bus, node.location) for node in told_nodes]
        assert len(set(places)) == len(places)
        other = after if side is before else before
        lone = {(node.bus, node.location) for node in side.nodes} - {(node.bus, node.location) for node in other.nodes}
        assert lone <= set(places)


@pytest.mark.properties
@given(captures(), captures())
def test_nothing_is_gone_or_new_on_a_bus_that_was_not_seen(before: Capture, after: Capture) -> None:
    seen = {
        bus
        for bus in ("usb", "hid")
        if all(one.state.seen for side in (before, after) for one in side.coverage if one.bus == bus)
    }
    for change in changes(before, after).nodes:
        lone = change.before is None or change.after is None
        assert (change.kind in (ChangeKind.GONE, ChangeKind.NEW)) == (lone and change.bus in seen)


def test_an_adapter_that_a_bare_list_lacks_may_be_there() -> None:
    """psutil documents ``sensors_battery``: of an adapter it tells ``power_plugged`` alone."""
    adapter = replace(BATTERY, location="acpi/_SB_.AC0_/power_supply", identity="", facts={"online": 0})
    sysfs, without = look(HUB, BATTERY, adapter), look(HUB)
    listed = replace(without, system=replace(without.system, source="libusb"))
    for before, after in ((sysfs, listed), (listed, sysfs)):
        supplies = [one.kind for one in changes(before, after).nodes if one.bus == "power_supply"]
        assert supplies == [ChangeKind.NOT_COMPARABLE] * 2
    both = [replace(one, system=replace(one.system, source="libusb")) for one in (sysfs, without)]
    assert {one.kind for one in changes(*both).nodes} == {ChangeKind.GONE}
