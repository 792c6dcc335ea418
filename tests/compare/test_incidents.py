"""What goes together is one incident, and what its devices share is named by the profile alone.

What a hub does is by its standard and its driver, not by us:

* USB 2.0, 11.24.2.7.2.1: C_PORT_CONNECTION, a hub tells of each of its ports whether the connection changed; so a
  device that leaves a hub is known of by itself, and one that stayed on a working hub has been seen to stay.
* Linux, drivers/usb/core/hub.c, usb_disconnect(): it logs "USB disconnect, device number", then disconnects every
  child of the device, and only then removes the device itself (from memory, as of Linux 6.1). So by uevents the
  devices leave before their hub, and by the log after it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.sparse.csgraph import shortest_path
from support.watch_scenes import (
    CAMERA,
    FINGERPRINT,
    HELPER,
    HUB,
    KEYBOARD,
    LARCH,
    SMART_CARD,
    TOUCHPAD,
    back,
    event,
    flexed,
    gone,
    healthy,
    top_case_lost,
    watch_of,
)

from usbwatch.compare import findings
from usbwatch.compare.incidents import (
    QUIET_MS,
    TEARDOWN_MS,
    begun,
    due,
    incidents,
    next_due_ms,
    taken,
    told_once,
)
from usbwatch.compare.shared_parts import own_link, shared, wiring
from usbwatch.model import Capture, Change, ExpectedDevice, Incident, Part, PartKind, Profile, WatchEvent
from usbwatch.profile import find

TOP_CASE = ("keyboard", "touchpad", "fingerprint-reader")
ON_THE_HUB = (*TOP_CASE, "smart-card-reader")
CONTROLLER = "pci0000:00/14.0"


def told(events: list[WatchEvent], capture: Capture | None = None, profile: Profile = LARCH) -> tuple[Incident, ...]:
    capture = capture or healthy()
    return incidents(watch_of(events, capture, lasted_ms=60_000), capture, profile)


def only(found: tuple[Incident, ...]) -> Incident:
    (one,) = found
    return one


# --- What goes together -------------------------------------------------------


def test_what_leaves_within_moments_is_one_incident_and_its_link_and_rail_are_named() -> None:
    one = only(told(gone(1_000, KEYBOARD, TOUCHPAD, FINGERPRINT)))
    assert (one.at_ms, one.change, one.devices, one.head) == (1_000, Change.GONE, TOP_CASE, "")
    assert one.shared == ("top-case-inputs", "top-case-board", "top-case-flex", "top-case-3v3", "mainboard-input")


def test_what_stayed_on_the_hub_takes_the_hub_off_the_list() -> None:
    without_reader = only(told(gone(1_000, KEYBOARD, TOUCHPAD, FINGERPRINT)))
    assert "internal-hub" not in without_reader.shared
    all_four = only(told(gone(1_000, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD)))
    assert all_four.shared == ("internal-hub",)


def test_one_device_alone_never_accuses_what_it_shares_with_others() -> None:
    one = only(told(gone(1_000, KEYBOARD)))
    assert one.shared == ()
    assert (one.own_link, one.stayed_on_link) == ("top-case-flex", ("touchpad", "fingerprint-reader"))


def test_a_device_without_a_link_of_its_own_is_given_none() -> None:
    assert only(told(gone(1_000, HUB), capture=_without(KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD))).own_link == ""


def test_two_that_leave_a_while_apart_are_two_incidents_and_share_nothing() -> None:
    first, second = told([*gone(1_000, KEYBOARD), *gone(1_000 + QUIET_MS, TOUCHPAD)])
    assert (first.devices, second.devices) == (("keyboard",), ("touchpad",))
    assert first.shared == second.shared == ()


def test_what_was_away_before_proves_nothing_about_what_the_others_need() -> None:
    """The smart card reader left a minute ago: that it is not among those that leave now takes nothing off the list."""
    _, second = told([*gone(1_000, SMART_CARD), *gone(30_000, KEYBOARD, TOUCHPAD, FINGERPRINT)])
    assert second.shared[-1] == "internal-hub"


def test_what_firmware_goes_on_naming_takes_nothing_off_the_list() -> None:
    """The gauge, lid sensor and power button need the flex and are still named when it is open: they prove nothing."""
    one = only(told(gone(1_000, KEYBOARD, TOUCHPAD, FINGERPRINT)))
    assert {"top-case-flex", "top-case-board", "mainboard-input"} <= set(one.shared)


def test_two_with_nothing_in_common_share_nothing() -> None:
    one = only(told(gone(1_000, CAMERA, KEYBOARD)))
    assert one.devices == ("keyboard", "camera")
    assert one.shared == ()


def test_a_device_that_goes_and_comes_and_goes_is_two_departures() -> None:
    changes = [one.change for one in told([*gone(1_000, KEYBOARD), *back(1_030, 30, KEYBOARD), *gone(1_060, KEYBOARD)])]
    assert changes == [Change.GONE, Change.BACK, Change.GONE]


def test_a_return_accuses_nothing() -> None:
    one = only(told(back(1_000, 500, KEYBOARD, TOUCHPAD, step_ms=5)))
    assert (one.change, one.devices, one.shared, one.own_link) == (Change.BACK, ("keyboard", "touchpad"), (), "")


def test_what_falls_back_together_shares_its_link_too() -> None:
    plover = find("ostrey-plover-12")
    names = {device.id: device for device in plover.devices}
    assert "base-contacts" in names["touchpad"].needs
    slower = [event(1_000 + at, Change.SLOWER, place) for at, place in enumerate((KEYBOARD, TOUCHPAD))]
    assert "top-case-flex" not in only(told(slower)).shared  # the fingerprint reader stayed on it
    slower.append(event(1_010, Change.SLOWER, FINGERPRINT))
    assert "top-case-flex" in only(told(slower)).shared


# --- A hub takes what hangs on it along ---------------------------------------


@pytest.mark.parametrize("step_ms", [0, 5, 90])
@pytest.mark.parametrize("hub_first", [True, False], ids=["by the log: hub first", "by uevents: hub last"])
def test_a_hub_that_is_pulled_names_itself_and_its_line(step_ms: int, *, hub_first: bool) -> None:
    behind = (KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD)
    one = only(told(gone(1_000, *((HUB, *behind) if hub_first else (*behind, HUB)), step_ms=step_ms)))
    assert (one.head, one.devices) == (HUB, ("internal-hub", *ON_THE_HUB))
    assert (one.shared, one.carrier) == (("internal-hub",), "usb-controller")


@pytest.mark.parametrize("step_ms", [150, 400])
def test_a_slow_teardown_after_the_hub_is_still_one_incident(step_ms: int) -> None:
    one = only(told(gone(1_000, HUB, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD, step_ms=step_ms)))
    assert (one.at_ms, one.head, one.devices) == (1_000, HUB, ("internal-hub", *ON_THE_HUB))


def test_what_was_told_before_its_hub_left_is_told_again_once_with_the_hub() -> None:
    events = [*gone(1_000, KEYBOARD), *gone(1_400, TOUCHPAD), *gone(1_900, FINGERPRINT, SMART_CARD, HUB)]
    found = told(events)
    assert [one.devices for one in found[:2]] == [("keyboard",), ("touchpad",)]
    last = found[-1]
    assert (last.instead_of, last.head, last.devices) == ((1, 2), HUB, ("internal-hub", *ON_THE_HUB))
    assert last.shared == ("internal-hub",)
    assert told_once(found) == (last,)


def test_what_left_its_hub_long_before_stays_an_incident_of_its_own() -> None:
    events = [*gone(1_000, KEYBOARD), *gone(1_000 + TEARDOWN_MS + QUIET_MS, TOUCHPAD, FINGERPRINT, SMART_CARD, HUB)]
    first, second = told(events)
    assert (first.devices, second.instead_of) == (("keyboard",), ())
    assert second.devices == ("internal-hub", "touchpad", "fingerprint-reader", "smart-card-reader")


def test_a_device_that_came_back_before_its_hub_left_is_not_told_again() -> None:
    events = [*gone(1_000, KEYBOARD), *back(1_300, 300, KEYBOARD), *gone(1_900, KEYBOARD, TOUCHPAD, HUB)]
    assert told(events)[-1].instead_of == ()


def test_a_contact_that_chatters_before_its_hub_leaves_is_told_as_it_was() -> None:
    events = [*gone(1_000, KEYBOARD), *back(1_020, 20, KEYBOARD), *gone(1_050, KEYBOARD, HUB)]
    found = told(events)
    assert [(one.change, len(one.events), one.head) for one in found] == [
        (Change.GONE, 1, ""),
        (Change.BACK, 1, ""),
        (Change.GONE, 2, HUB),
    ]


def test_what_left_with_a_hub_that_came_back_is_the_first_departures_alone() -> None:
    """The hub leaves a second time, and what did not return with it left once."""
    found = told_once(told(_made(_TWICE)))
    assert sorted((one.at_ms, one.change.value, [event.at_ms for event in one.events]) for one in found) == [
        (101, "gone", [101, 201]),
        (1701, "came back", [1701]),
        (2101, "gone", [2101]),
    ]


def test_what_leaves_after_its_hub_came_back_was_not_taken_along() -> None:
    found = told([*gone(1_000, HUB), *back(1_500, 500, HUB), *gone(1_900, KEYBOARD)])
    assert [
        (one.change, one.head, len(one.events)) for one in found if KEYBOARD in {e.location for e in one.events}
    ] == [(Change.GONE, "", 1)]


def test_what_hangs_on_a_hub_and_does_not_leave_is_waited_for_no_longer_than_a_teardown_may_take() -> None:
    state = begun(healthy(), findings(healthy(), LARCH), LARCH)
    state = taken(state, gone(1_000, HUB)[0])
    assert next_due_ms(state) == 1_000 + TEARDOWN_MS
    state, found = due(state, 1_000 + TEARDOWN_MS)
    assert only(found).devices == ("internal-hub",)
    assert next_due_ms(state) is None


def test_a_departure_is_told_within_the_quiet_time_also_while_a_hub_is_waited_for() -> None:
    state = begun(healthy(), findings(healthy(), LARCH), LARCH)
    state = taken(taken(state, gone(1_000, HUB)[0]), gone(1_500, CAMERA)[0])
    _, found = due(state, 1_500 + QUIET_MS)
    assert only(found).devices == ("camera",)


def test_a_controller_that_dies_takes_its_hubs_and_all_behind_them_along() -> None:
    places = [
        finding.node.location
        for finding in findings(healthy(), LARCH).findings
        if finding.node is not None and finding.node.location.startswith(f"{CONTROLLER}/")
    ]
    inner_first = sorted(places, key=len, reverse=True)
    one = only(
        told([*gone(1_000, *inner_first), event(1_100, Change.GONE, CONTROLLER, bus="pci")]),
    )
    assert (one.head, one.carrier) == (CONTROLLER, "")
    assert one.shared == ("usb-controller", "mainboard-usb")
    assert len(one.devices) == len(places) + 1


def test_the_link_of_a_hub_that_has_one_is_named() -> None:
    one = only(told(gone(1_000, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD, HUB), profile=_hub_on_a_flex()))
    assert one.shared == ("internal-hub", "hub-flex")


def _hub_on_a_flex() -> Profile:
    """The Larch 13 if its hub sat on the top case, behind a flex of its own."""
    flex = Part(id="hub-flex", kind=PartKind.LINK, name="Hub flex", joins=("mainboard", "top-case"))
    moved = {"internal-hub": ("usb-controller", "hub-flex")}
    devices = tuple(replace(device, needs=moved.get(device.id, device.needs)) for device in LARCH.devices)
    return replace(LARCH, parts=(*LARCH.parts, flex), devices=devices)


# --- Helper devices and what the profile does not name ------------------------


def test_a_helper_in_a_socket_is_the_helpers_own_incident_also_in_the_same_moment() -> None:
    came = event(900, Change.CAME, HELPER, identity="1209:0001")
    _, unit, helper = told([came, *gone(10_000, KEYBOARD, HELPER, step_ms=1)])
    assert (unit.devices, unit.outside) == (("keyboard",), False)
    assert (helper.devices, helper.outside, helper.shared) == ((), True, ())


def test_a_helper_hub_that_is_pulled_is_one_incident_of_no_expected_device() -> None:
    came = [event(900 + at, Change.CAME, place) for at, place in enumerate((HELPER, f"{HELPER}.1", f"{HELPER}.2"))]
    one = told([*came, *gone(20_000, f"{HELPER}.1", f"{HELPER}.2", HELPER)])[-1]
    assert (one.head, one.devices, one.outside, len(one.events)) == (HELPER, (), True, 3)


def test_where_firmware_says_nothing_of_a_port_what_came_is_not_called_the_units_or_a_helper() -> None:
    capture = healthy()
    silent = tuple(
        replace(node, facts={**node.facts, "connect_type": "unknown"}) if node.location == HELPER else node
        for node in capture.nodes
    )
    one = only(told([event(1_000, Change.CAME, HELPER)], capture=replace(capture, nodes=silent)))
    assert (one.outside, one.unplaced) == (False, True)


def test_a_device_that_was_missing_from_the_start_can_come() -> None:
    one = only(told([event(5_000, Change.CAME, KEYBOARD, identity="1209:0001")], capture=top_case_lost()))
    assert (one.change, one.devices, one.outside) == (Change.CAME, ("keyboard",), False)


# --- Rules that hold for any watch --------------------------------------------

_PLACES = (HUB, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD, CAMERA, HELPER, f"{HELPER}.1", "usb2/9")
_EVENTS = st.lists(st.tuples(st.integers(0, 700), st.sampled_from(_PLACES), st.sampled_from(list(Change))), max_size=25)


@st.composite
def _chatter(draw: st.DrawFn) -> list[tuple[int, str, Change]]:
    """A hub and what hangs on it that come and go within the times that decide what belongs together."""
    near = (0, 1, 20, QUIET_MS - 1, QUIET_MS, QUIET_MS + 1, 400, 1500, TEARDOWN_MS, TEARDOWN_MS + 1)
    away: set[str] = set()
    steps = []
    for step, place in draw(
        st.lists(st.tuples(st.sampled_from(near), st.sampled_from((HUB, KEYBOARD, TOUCHPAD, CAMERA))), max_size=25)
    ):
        steps.append((step, place, Change.BACK if place in away else Change.GONE))
        away ^= {place}
    return steps


_ANY = st.one_of(_EVENTS, _chatter())
_TWICE = [(101, TOUCHPAD, Change.GONE), (100, HUB, Change.GONE), (1500, HUB, Change.BACK), (400, HUB, Change.GONE)]
"""A hub that leaves, returns and leaves again within a teardown's time; what had left before it left once."""


def _made(steps: list[tuple[int, str, Change]]) -> list[WatchEvent]:
    at_ms, events = 0, []
    for step, place, change in steps:
        at_ms += step
        events.append(event(at_ms, change, place))
    return events


@pytest.mark.properties
@settings(deadline=None)
@given(steps=_ANY, asked=st.lists(st.integers(0, 20_000), max_size=20))
def test_what_is_told_live_is_what_the_saved_watch_tells(
    steps: list[tuple[int, str, Change]], asked: list[int]
) -> None:
    """However often it is asked in between, and whatever happens."""
    events = _made(steps)
    state, live = begun(healthy(), findings(healthy(), LARCH), LARCH), list[Incident]()
    moments = sorted(
        [(moment, None) for moment in asked] + [(one.at_ms, one) for one in events], key=lambda one: one[0]
    )
    for moment, one in moments:
        if one is None:
            state, found = due(state, moment)
            live += found
        else:
            state = taken(state, one)
    while (next_ms := next_due_ms(state)) is not None:
        state, found = due(state, next_ms)
        live += found
    assert tuple(live) == told(events)


@pytest.mark.properties
@settings(deadline=None)
@example(steps=_TWICE)
@given(steps=_ANY)
def test_every_event_is_told_and_counted_once(steps: list[tuple[int, str, Change]]) -> None:
    events = _made(steps)
    found = told_once(told(events))
    assert sorted(map(repr, events)) == sorted(repr(one) for incident in found for one in incident.events)
    assert [one.number for one in found] == sorted(one.number for one in found)


@pytest.mark.properties
@settings(deadline=None)
@given(steps=_ANY)
def test_nothing_shared_is_needed_by_what_stayed_or_not_needed_by_what_went(
    steps: list[tuple[int, str, Change]],
) -> None:
    for one in told(_made(steps)):
        assert not one.shared or len(one.devices) > 1
        for part in one.shared:
            assert all(part == device or _needs(device, part) for device in one.devices)
        assert not one.outside or not one.devices or one.head


_WIRES = wiring(LARCH, findings(healthy(), LARCH).findings)
_IDS = [*(part.id for part in LARCH.parts), *(device.id for device in LARCH.devices)]


def _reach() -> np.ndarray:
    """Which id needs which, directly or not: by the shortest paths of a general library over ``needs`` as written."""
    direct = np.zeros((len(_IDS), len(_IDS)))
    for device in LARCH.devices:
        for need in device.needs:
            direct[_IDS.index(device.id), _IDS.index(need)] = 1
    steps: np.ndarray = shortest_path(direct, unweighted=True)
    reached: np.ndarray = np.isfinite(steps) & ~np.eye(len(_IDS), dtype=bool)
    return reached


_REACHED = _reach()


def _needs(device: str, need: str) -> bool:
    return bool(_REACHED[_IDS.index(device), _IDS.index(need)])


_DEVICES = st.sets(st.sampled_from([device.id for device in LARCH.devices]))


@pytest.mark.properties
@settings(deadline=None)
@given(went=_DEVICES, stayed=_DEVICES)
def test_what_is_shared_is_so_by_its_definition(went: set[str], stayed: set[str]) -> None:
    stayed -= went
    found = shared(tuple(device.id for device in LARCH.devices if device.id in went), stayed, _WIRES)
    meant = {
        one
        for one in _IDS
        if len(went) > 1
        and all(one == device or _needs(device, one) for device in went)
        and not any(_needs(device, one) for device in stayed)
    }
    assert set(found) == meant
    assert len(found) == len(set(found))


def test_needs_in_a_ring_and_of_what_is_not_fitted_come_to_an_end() -> None:
    ring = tuple(
        ExpectedDevice(id=one, name=one, function="hub", within="mainboard", needs=(other, "nowhere"))
        for one, other in (("internal-hub", "usb-controller"), ("usb-controller", "internal-hub"))
    )
    wires = wiring(replace(LARCH, devices=ring), findings(healthy(), LARCH).findings)
    assert wires.needs == {"internal-hub": ("usb-controller",), "usb-controller": ("internal-hub",)}
    assert own_link("internal-hub", wires) == ""


def test_the_demo_watch_tells_of_three_departures_by_the_same_flex() -> None:
    departures = [one for one in told(list(flexed())) if one.change is Change.GONE]
    assert [one.devices for one in departures] == [TOP_CASE] * 3
    assert len({one.shared for one in departures}) == 1


def _without(*places: str) -> Capture:
    capture = healthy()
    kept = tuple(node for node in capture.nodes if not node.location.startswith(places) or node.bus == "usb-port")
    return replace(capture, nodes=kept)
