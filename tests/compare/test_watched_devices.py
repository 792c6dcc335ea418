"""How devices fared in a live watch, against plain counting and hand-made watches of the Larch 13."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.blinking import HUB, PLACES, blinks, event, watch, watched

from usbwatch.capture import load
from usbwatch.compare.scene import scene
from usbwatch.compare.watched_devices import TOGETHER_MS, watched_devices
from usbwatch.model import Capture, Change, Mark, Watch, Watched, WatchEvent
from usbwatch.profile import find

LARCH = find("fernhill-larch-13")
HEALTHY = load(str(Path(__file__).parents[2] / "captures" / "larch-13-healthy.json"))
KEYBOARD, TOUCHPAD = PLACES["keyboard"], PLACES["touchpad"]
SEVEN = [(20_000 + 30_000 * number, 400 + 100 * number) for number in range(7)]


def told(capture: Capture) -> Mapping[str, Watched]:
    """How every device of the Larch fared."""
    nodes = {node.location: node for node in capture.nodes if node.bus == "usb"}
    standing = {one.id: nodes[place] for one in LARCH.devices for place in one.locations if place in nodes}
    return watched_devices(LARCH.devices, standing, scene(capture, LARCH))


def with_watch(*watches: Watch) -> Capture:
    return replace(HEALTHY, watches=watches)


def test_without_a_watch_nothing_is_told() -> None:
    assert told(HEALTHY) == {}


def test_departures_are_counted_with_their_lengths() -> None:
    one = told(watched(HEALTHY, {KEYBOARD: SEVEN}))["keyboard"]
    assert (one.left, one.lasted_ms, one.shortest_ms, one.longest_ms) == (7, 240_000, 400, 1000)
    assert one.away_ms == sum(length for _, length in SEVEN)
    assert (one.away_at_end, one.marked, one.together, one.carrier) == (False, 0, (), "")


def test_what_was_watched_and_stayed_has_left_never() -> None:
    all_told = told(watched(HEALTHY, {KEYBOARD: SEVEN}))
    assert all_told["touchpad"].left == 0
    assert all_told["touchpad"].tells


@pytest.mark.parametrize("id_", ["battery", "panel", "lid"])
def test_staying_tells_nothing_where_a_departure_would_not_have_shown(id_: str) -> None:
    """A panel's node stays though its cable is out; a gauge is read every two seconds."""
    found = told(watched(HEALTHY, {}))
    assert id_ not in found or not found[id_].tells


def test_a_helper_device_in_a_socket_is_none_of_the_units_devices() -> None:
    """It has the keyboard's own identity: only its place tells that it is not the keyboard."""
    socket = "pci0000:00/14.0/usb2/1"
    keyboard = replace(event(socket, Change.CAME, 1000), identity="1209:0001", name="Larch Internal Keyboard")
    events = [keyboard, *blinks(socket, SEVEN)]
    assert all(one.left == one.came == 0 for one in told(with_watch(watch(events, places=PLACES.values()))).values())


def test_what_a_hub_takes_along_is_counted_at_the_hub() -> None:
    """The children leave first, as ``usb_disconnect`` takes them down before the hub (drivers/usb/core/hub.c)."""
    children = ("keyboard", "touchpad", "fingerprint-reader", "smart-card-reader")
    leaving = {HUB: SEVEN} | {
        PLACES[id_]: [(at_ms - 40, away_ms + 300) for at_ms, away_ms in SEVEN] for id_ in children
    }
    found = told(watched(HEALTHY, leaving))
    assert found["internal-hub"].left == 7
    assert [(found[id_].left, found[id_].carrier, found[id_].with_carrier) for id_ in children] == [
        (0, "internal-hub", 7)
    ] * 4


def test_what_leaves_while_its_hub_stays_is_its_own() -> None:
    leaving = {HUB: SEVEN[:2], KEYBOARD: [*SEVEN[:2], (230_000, 500)]}
    one = told(watched(HEALTHY, leaving))["keyboard"]
    assert (one.left, one.with_carrier, one.shortest_ms) == (1, 2, 500)


def test_a_gauge_that_is_read_seldom_left_together_with_what_it_missed() -> None:
    """Read every two seconds, it shows two of seven absences: those were the same."""
    late = [(at_ms + 1900, 2000) for at_ms, _ in SEVEN[2:4]]
    found = told(watched(HEALTHY, {KEYBOARD: SEVEN, PLACES["battery"]: late}))
    assert found["keyboard"].together == ("battery",)
    assert (found["battery"].together, found["battery"].fell_silent) == (("keyboard",), 2)


def test_what_leaves_at_other_moments_left_by_itself() -> None:
    other = [(at_ms + 2 * TOGETHER_MS, 400) for at_ms, _ in SEVEN]
    found = told(watched(HEALTHY, {KEYBOARD: SEVEN, TOUCHPAD: other}))
    assert found["keyboard"].together == found["touchpad"].together == ()


def test_away_at_the_end_counts_up_to_the_end() -> None:
    events = [event(KEYBOARD, Change.GONE, 200_000)]
    one = told(with_watch(watch(events)))["keyboard"]
    assert (one.left, one.away_at_end, one.away_ms) == (1, True, 40_000)


def test_back_in_a_later_watch_is_not_away_at_the_end() -> None:
    first = watch([event(KEYBOARD, Change.GONE, 200_000)])
    one = told(with_watch(first, watch([], places=[KEYBOARD])))["keyboard"]
    assert (one.left, one.away_at_end, one.lasted_ms) == (1, False, 480_000)


def test_marks_near_departures_are_counted() -> None:
    marks = [Mark(at_ms=SEVEN[0][0] - 4000), Mark(at_ms=SEVEN[1][0] + 4000), Mark(at_ms=SEVEN[2][0] + 9000)]
    assert told(watched(HEALTHY, {KEYBOARD: SEVEN}, marks))["keyboard"].marked == 2


def test_what_comes_first_and_what_falls_back_is_counted_apart() -> None:
    camera = PLACES["camera"]
    events = [
        event(camera, Change.CAME, 5000, speed_kbps=480_000),
        *blinks(camera, [(9000, 500)]),
        event(camera, Change.SLOWER, 9500, speed_kbps=12_000, was_kbps=480_000),
        event(camera, Change.FAILED, 12_000, errno=-71),
        event(camera, Change.RESET, 13_000),
    ]
    one = told(with_watch(watch(events)))["camera"]
    assert (one.came, one.left, one.fallbacks, one.slowest_kbps, one.failures, one.resets) == (1, 1, 1, 12_000, 1, 1)


_CHANGES = st.sampled_from(list(Change))
_EVENTS = st.lists(
    st.builds(
        WatchEvent,
        at_ms=st.integers(0, 240_000),
        change=_CHANGES,
        bus=st.just("usb"),
        location=st.sampled_from([*PLACES.values(), "pci0000:00/14.0/usb2/1", "nowhere", ""]),
        away_ms=st.integers(0, 10**9),
        speed_kbps=st.integers(0, 10**7),
    ),
    max_size=60,
)


@pytest.mark.properties
@given(events=_EVENTS)
def test_whatever_the_events_are_the_figures_hold_together(events: list[WatchEvent]) -> None:
    for one in told(with_watch(watch(events, places=PLACES.values()))).values():
        assert 0 <= one.shortest_ms <= one.longest_ms <= one.away_ms
        assert 0 <= one.fell_silent <= one.left
        assert one.marked == 0
        assert one.left or not (one.away_ms or one.together or one.away_at_end)


@pytest.mark.properties
@given(events=_EVENTS)
def test_departures_are_never_more_than_the_events_that_tell_of_them(events: list[WatchEvent]) -> None:
    """Counted anew, the plain way: no device left more often than its place was named by an event."""
    for id_, one in told(with_watch(watch(events, places=PLACES.values()))).items():
        places = next(device.locations for device in LARCH.devices if device.id == id_)
        named = [each for each in events if each.location in places]
        assert one.left <= len(named)
        assert one.fallbacks == sum(each.change is Change.SLOWER for each in named)
