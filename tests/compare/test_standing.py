"""How each expected device stands: never "gone" where nothing could tell, and every millisecond in one condition."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.watch_scenes import CAMERA, HUB, KEYBOARD, LARCH, back, event, gone, healthy, top_case_lost, watch_of

from usbwatch.compare import findings
from usbwatch.compare.standing import begun_standing, moved_standing, standing
from usbwatch.model import Capture, Change, Condition, Coverage, CoverageState, Kind, Node, Rung, Standing, WatchEvent

XHCI = "pci0000:00/14.0"


def stand(
    events: list[WatchEvent], now_ms: int, capture: Capture | None = None, watched: tuple[str, ...] | None = None
) -> dict[str, Standing]:
    capture = capture or healthy()
    places = watch_of([], capture).watched if watched is None else watched
    state = begun_standing(findings(capture, LARCH), LARCH, places, capture)
    for one in events:
        state = moved_standing(state, one)
    return {one.device: one for one in standing(state, now_ms)}


def test_a_healthy_unit_stands_whole_but_for_what_only_a_hand_can_tell() -> None:
    found = stand([], 1_000)
    assert list(found) == [device.id for device in LARCH.devices]
    unwatched = {one for one, its in found.items() if its.condition is Condition.NOT_WATCHED}
    assert unwatched == {"lid", "power-button"}
    assert {its.condition for one, its in found.items() if one not in unwatched} == {Condition.PRESENT}


def test_absences_are_counted_and_timed() -> None:
    keyboard = stand([*gone(10_000, KEYBOARD), *back(13_000, 3_000, KEYBOARD), *gone(20_000, KEYBOARD)], 60_000)[
        "keyboard"
    ]
    assert (keyboard.condition, keyboard.since_ms, keyboard.since_before) == (Condition.GONE, 20_000, False)
    assert (keyboard.times_gone, keyboard.longest_ms, keyboard.absent_ms) == (2, 40_000, 43_000)
    assert keyboard.per_minute == pytest.approx(2.0)


def test_one_that_fails_to_enumerate_is_no_more_there_than_one_that_is_gone() -> None:
    events = [*gone(10_000, KEYBOARD), event(15_000, Change.FAILED, KEYBOARD), *gone(16_000, KEYBOARD)]
    keyboard = stand([*events, *back(20_000, 10_000, KEYBOARD)], 30_000)["keyboard"]
    assert (keyboard.times_gone, keyboard.longest_ms, keyboard.absent_ms) == (1, 10_000, 10_000)


def test_mains_that_goes_is_counted_and_is_no_absence_of_a_part() -> None:
    adapter = "acpi/_SB_.AC0_"
    events = [
        event(10_000, Change.OFFLINE, adapter, "acpi"),
        event(14_000, Change.ONLINE, adapter, "acpi", away_ms=4_000),
        event(20_000, Change.OFFLINE, adapter, "acpi"),
    ]
    its = stand(events, 30_000)["mains-adapter"]
    assert (its.condition, its.times_gone, its.longest_ms) == (Condition.OFFLINE, 2, 10_000)


def test_an_adapter_that_was_pulled_before_the_watch_began_stands_without_mains() -> None:
    whole = healthy()
    pulled = [
        replace(node, facts={**node.facts, "online": 0}) if node.facts.get("type") == "Mains" else node
        for node in whole.nodes
    ]
    its = stand([], 5_000, replace(whole, nodes=tuple(pulled)))["mains-adapter"]
    assert (its.condition, its.since_before, its.times_gone) == (Condition.OFFLINE, True, 0)


def test_what_was_missing_when_the_watch_began_did_not_go_in_it() -> None:
    found = stand([], 5_000, top_case_lost())
    assert (found["keyboard"].condition, found["keyboard"].since_before) == (Condition.GONE, True)
    assert found["keyboard"].times_gone == 0
    assert (found["battery"].condition, found["battery"].since_before) == (Condition.MUTE, True)
    came = stand([event(2_000, Change.CAME, KEYBOARD)], 5_000, top_case_lost())["keyboard"]
    assert (came.condition, came.since_before, came.since_ms) == (Condition.PRESENT, False, 2_000)


def test_what_a_capture_could_not_see_is_not_watched_and_says_why() -> None:
    capture = healthy()
    blind = tuple(
        Coverage(bus=one.bus, state=CoverageState.NOT_PERMITTED, why="refused") if one.bus == "usb" else one
        for one in capture.coverage
    )
    kept = tuple(node for node in capture.nodes if node.bus != "usb")
    camera = stand([], 1_000, replace(capture, coverage=blind, nodes=kept))["camera"]
    assert (camera.condition, camera.times_gone) == (Condition.NOT_WATCHED, 0)
    assert "not permitted" in camera.why


def test_what_hangs_on_a_lost_hub_is_not_watched_and_is_known_again_when_it_comes() -> None:
    capture = healthy()
    kept = tuple(node for node in capture.nodes if not node.location.startswith(HUB) or node.bus == "usb-port")
    hidden = replace(capture, nodes=kept)
    keyboard = stand([], 1_000, hidden)["keyboard"]
    assert (keyboard.condition, keyboard.why) == (
        Condition.NOT_WATCHED,
        "it hangs on Internal hub, which is not there",
    )
    assert stand([event(500, Change.CAME, KEYBOARD)], 1_000, hidden)["keyboard"].condition is Condition.PRESENT


def test_what_nothing_watches_is_never_gone() -> None:
    found = stand([], 1_000, top_case_lost(), watched=(CAMERA,))
    assert found["camera"].condition is Condition.PRESENT
    assert {its.condition for one, its in found.items() if one != "camera"} == {Condition.NOT_WATCHED}


def test_a_reset_leaves_it_where_it_is_and_is_counted() -> None:
    camera = stand([event(1_000, Change.RESET, CAMERA), event(2_000, Change.RESET, CAMERA)], 3_000)["camera"]
    assert (camera.condition, camera.times_reset, camera.times_gone) == (Condition.PRESENT, 2, 0)


@pytest.mark.parametrize(
    ("change", "condition"),
    [
        (Change.SLOWER, Condition.SLOW),
        (Change.FAILED, Condition.FAILED),
        (Change.OVER_CURRENT, Condition.OVER_CURRENT),
        (Change.MUTE, Condition.MUTE),
        (Change.UNBOUND, Condition.UNDRIVEN),
        (Change.GONE, Condition.GONE),
    ],
    ids=lambda one: one.value,
)
def test_each_change_for_the_worse_has_its_condition(change: Change, condition: Condition) -> None:
    assert stand([event(1_000, change, CAMERA)], 2_000)["camera"].condition is condition


def test_one_that_comes_back_slower_than_it_was_is_still_slow() -> None:
    """At 12 Mbit/s it left and at 12 it came back, where the profile asks 480: no change of speed, and not well."""
    slower = event(1_000, Change.SLOWER, CAMERA, was_kbps=480_000, speed_kbps=12_000)
    returned = event(3_000, Change.BACK, CAMERA, away_ms=1_000, speed_kbps=12_000)
    assert stand([slower, *gone(2_000, CAMERA), returned], 4_000)["camera"].condition is Condition.SLOW
    well = event(3_000, Change.BACK, CAMERA, away_ms=1_000, speed_kbps=480_000)
    assert stand([slower, *gone(2_000, CAMERA), well], 4_000)["camera"].condition is Condition.PRESENT


def test_what_left_the_one_half_of_a_connector_is_found_on_the_other() -> None:
    """A SuperSpeed part that loses its lines connects by USB 2 (USB 3.2, from memory): two ports of one connector."""
    fast, usb2 = f"{XHCI}/usb3/2", f"{XHCI}/usb2/2"
    ports = tuple(
        Node(
            bus="usb-port",
            location=here,
            kind=Kind.PORT,
            rung=Rung.ABSENT,
            facts={"peer": other, "location": "0x80000003", "connect_type": "hardwired"},
        )
        for here, other in ((fast, usb2), (usb2, fast))
    )
    capture = replace(healthy(), nodes=(*healthy().nodes, *ports))
    fitted = tuple(
        replace(one, locations=(fast,), identities=(), speed_mbps=5_000) if one.id == "camera" else one
        for one in LARCH.devices
    )
    profile = replace(LARCH, devices=fitted)
    state = begun_standing(findings(capture, profile), profile, (fast,), capture)
    came = event(1_000, Change.CAME, fast, speed_kbps=5_000_000)
    on_usb2 = event(2_000, Change.CAME, usb2, speed_kbps=480_000)
    for events in ([came, *gone(1_900, fast), on_usb2], [came, on_usb2, *gone(2_050, fast)]):
        moved = state
        for one in events:
            moved = moved_standing(moved, one)
        camera = next(one for one in standing(moved, 3_000) if one.device == "camera")
        assert camera.condition is Condition.SLOW


def test_no_rate_is_made_of_the_first_moment() -> None:
    assert stand(gone(100, CAMERA), 900)["camera"].per_minute == 0


_STEPS = st.lists(
    st.tuples(st.integers(-50, 5_000), st.sampled_from([KEYBOARD, CAMERA]), st.sampled_from(list(Change)))
)


@pytest.mark.properties
@settings(deadline=None)
@given(steps=_STEPS, more_ms=st.integers(0, 10_000))
def test_spells_lie_without_gap_from_the_beginning_to_now(steps: list[tuple[int, str, Change]], more_ms: int) -> None:
    """Also when an event is late; absences are no longer than the watch, and the longest no longer than all."""
    at_ms, events = 0, []
    for step, place, change in steps:
        at_ms = max(at_ms + step, 0)
        events.append(event(at_ms, change, place))
    now_ms = max([more_ms, *(one.at_ms for one in events)]) + more_ms
    for one in stand(events, now_ms).values():
        assert one.spells[0].from_ms == 0
        assert one.spells[-1].to_ms == now_ms
        assert all(before.to_ms == after.from_ms for before, after in pairwise(one.spells))
        assert all(spell.from_ms <= spell.to_ms for spell in one.spells)
        assert one.spells[-1].condition is one.condition
        assert 0 <= one.longest_ms <= one.absent_ms <= now_ms


def test_all_spells_of_a_contact_that_chatters_for_hours_are_kept_in_order() -> None:
    events = [
        event(100 * number, Change.GONE if number % 2 else Change.BACK, KEYBOARD, away_ms=100 * (1 - number % 2))
        for number in range(1, 2_001)
    ]
    spells = stand(events, 300_000)["keyboard"].spells
    assert [one.from_ms for one in spells] == [0, *(one.at_ms for one in events)]
    assert all(one.to_ms == other.from_ms for one, other in pairwise(spells))
    assert {one.condition for one in spells[1::2]} == {Condition.GONE}
