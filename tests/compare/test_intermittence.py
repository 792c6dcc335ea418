"""What a live watch makes of a finding, on the invented Larch 13."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest
from support.blinking import HUB, PLACES, blinks, event, watch, watched

from usbwatch.capture import load
from usbwatch.capture.log import ENUMERATION_FAILED
from usbwatch.compare import findings
from usbwatch.model import Capture, Change, Episode, Finding, Findings, Kind, Mark, Rung, Symptom, Verdict
from usbwatch.profile import find

LARCH = find("fernhill-larch-13")
FOLDER = Path(__file__).parents[2] / "captures"
HEALTHY, LOST = (load(str(FOLDER / f"larch-13-{name}.json")) for name in ("healthy", "top-case-lost"))
KEYBOARD = PLACES["keyboard"]
SEVEN = [(20_000 + 30_000 * number, 400 + 100 * number) for number in range(7)]
CHILDREN = ("keyboard", "touchpad", "fingerprint-reader", "smart-card-reader")


def found(capture: Capture) -> Findings:
    return findings(capture, LARCH)


def keyboard(capture: Capture) -> Finding:
    return found(capture).of("keyboard")


def test_a_device_that_comes_and_goes_is_impaired_with_rate_and_duration() -> None:
    told = keyboard(watched(HEALTHY, {KEYBOARD: SEVEN}))
    assert (told.verdict, told.symptom, told.rung) == (Verdict.IMPAIRED, Symptom.INTERMITTENT, Rung.WORKING)
    assert told.reasons[0] == "left its place 7 times in 4 min of watching (1.8 a minute), away 400 ms to 1.0 s"


def test_nothing_else_changes_by_it() -> None:
    before, after = found(HEALTHY), found(watched(HEALTHY, {KEYBOARD: SEVEN}))
    for one in before.findings:
        if one.device != "keyboard":
            now = after.of(one.device)
            assert (now.verdict, now.symptom, now.rung, now.node) == (one.verdict, one.symptom, one.rung, one.node)


def test_a_device_that_stayed_has_that_as_evidence() -> None:
    told = keyboard(watched(HEALTHY, {}))
    assert (told.verdict, told.symptom) == (Verdict.PRESENT, Symptom.WORKING)
    assert told.reasons[-1] == "watched for 4 min, and never left"


def test_a_short_watch_says_nothing_of_what_stayed() -> None:
    told = keyboard(replace(HEALTHY, watches=(watch([], lasted_ms=20_000, places=[KEYBOARD]),)))
    assert not any("never left" in reason for reason in told.reasons)


def test_a_mark_near_is_told_with_it() -> None:
    told = keyboard(watched(HEALTHY, {KEYBOARD: SEVEN}, [Mark(at_ms=SEVEN[3][0] - 800, text="\x1b[2Jreseated")]))
    assert told.reasons[0].endswith(
        "(1 of them within 5 s of your marks; a reseat done on purpose would look the same)"
    )
    assert not any("reseated" in reason for reason in told.reasons), "what was typed stays in its own field"


def test_what_the_hub_took_along_is_counted_once() -> None:
    told = found(watched(HEALTHY, {HUB: SEVEN} | {PLACES[id_]: SEVEN for id_ in CHILDREN}))
    assert [one.device for one in told.findings if one.symptom is Symptom.INTERMITTENT] == ["internal-hub"]
    for id_ in CHILDREN:
        assert (told.of(id_).verdict, told.of(id_).charged_to) == (Verdict.PRESENT, "internal-hub")
        assert (
            "Internal hub left 7 times while it was watched, and took it along: counted there" in told.of(id_).reasons
        )


def test_what_left_and_is_missing_and_never_came_back_is_missing() -> None:
    told = keyboard(replace(LOST, watches=(watch([event(KEYBOARD, Change.GONE, 100_000)]),)))
    assert (told.verdict, told.symptom) == (Verdict.MISSING, Symptom.ABSENT)
    assert any("had not come back when the watch ended" in reason for reason in told.reasons)


def test_what_left_once_and_then_failed_to_enumerate_has_failed_and_does_not_come_and_go() -> None:
    """As a real kernel has it of a part that loses contact, and breaks off when it is asked for its descriptor."""
    events = [event(KEYBOARD, Change.GONE, 100_000), event(KEYBOARD, Change.FAILED, 105_000, errno=-71)]
    line = "[  105.000000] usb 1-4-port1: unable to enumerate USB device"
    log = Episode(location=KEYBOARD, trouble=ENUMERATION_FAILED, count=9, errno=-71, lines=(line,))
    told = keyboard(replace(LOST, watches=(watch(events),), episodes=(log,)))
    assert (told.verdict, told.symptom) == (Verdict.IMPAIRED, Symptom.FAILED)
    assert any("left its place once" in reason for reason in told.reasons)
    back = [*events, event(KEYBOARD, Change.BACK, 110_000), event(KEYBOARD, Change.GONE, 115_000)]
    assert keyboard(replace(LOST, watches=(watch(back),), episodes=(log,))).symptom is Symptom.INTERMITTENT


def test_what_is_missing_and_came_back_in_between_comes_and_goes() -> None:
    events = [*blinks(KEYBOARD, SEVEN), event(KEYBOARD, Change.GONE, 235_000)]
    told = keyboard(replace(LOST, watches=(watch(events),)))
    assert (told.verdict, told.symptom) == (Verdict.MISSING, Symptom.INTERMITTENT)
    assert "away when the watch ended" in told.reasons[0]


def test_what_attached_and_failed_in_the_watch_is_impaired() -> None:
    events = [event(KEYBOARD, Change.FAILED, at_ms, errno=-71) for at_ms in (10_000, 90_000)]
    told = keyboard(replace(LOST, watches=(watch(events),)))
    assert (told.verdict, told.symptom, told.rung) == (Verdict.IMPAIRED, Symptom.FAILED, Rung.ATTACHED)
    assert told.reasons[0] == "attached 2 times in 4 min of watching, and each time failed to enumerate"


def test_falling_back_to_a_lower_speed_is_coming_and_going_with_the_speed_told() -> None:
    """A speed is settled after a device connects (USB 2.0 section 7.1.7.5), so that it had lost contact."""
    camera = PLACES["camera"]
    events = [event(camera, Change.SLOWER, at_ms, speed_kbps=12_000, was_kbps=480_000) for at_ms in (10_000, 90_000)]
    told = found(replace(HEALTHY, watches=(watch(events),))).of("camera")
    assert (told.verdict, told.symptom) == (Verdict.IMPAIRED, Symptom.INTERMITTENT)
    assert told.reasons[0] == "fell back to a lower speed 2 times in 4 min of watching, to 12 Mbit/s at the slowest"


def test_resets_and_lost_drivers_are_told_and_not_held_against_it() -> None:
    """A program may reset a device or unbind its driver."""
    events = [
        event(KEYBOARD, change, at_ms) for at_ms, change in enumerate((Change.RESET, Change.UNBOUND, Change.BOUND))
    ]
    told = keyboard(replace(HEALTHY, watches=(watch(events),)))
    assert told.verdict is Verdict.PRESENT
    assert told.reasons[-2:] == (
        "the kernel reset it once while it was watched",
        "it lost its driver once while it was watched",
    )


def test_what_sits_in_a_socket_may_be_pulled() -> None:
    ports = tuple(
        replace(node, facts=node.facts | {"connect_type": "hotplug"})
        if (node.bus, node.location) == ("usb-port", KEYBOARD)
        else node
        for node in HEALTHY.nodes
    )
    told = keyboard(watched(replace(HEALTHY, nodes=ports), {KEYBOARD: SEVEN}))
    assert told.verdict is Verdict.PRESENT
    assert any("left its place 7 times" in reason for reason in told.reasons)


def test_an_adapter_that_is_pulled_in_the_course_of_watching_is_no_fault() -> None:
    adapter = next(one for one in LARCH.devices if one.function == "mains-adapter")
    (place,) = adapter.locations
    events = [replace(one, bus="acpi") for one in blinks(HUB, [(20_000, 60_000)])]
    pulled = watch([replace(one, location=place) for one in events])
    before, told = (found(each).of(adapter.id) for each in (HEALTHY, replace(HEALTHY, watches=(pulled,))))
    assert (told.verdict, told.symptom) == (before.verdict, before.symptom)
    assert any("left its place once" in reason for reason in told.reasons)


@pytest.mark.parametrize(("id_", "said"), [("camera", True), ("bluetooth", True), ("keyboard", False)])
def test_what_a_key_or_a_shutter_turns_off_is_told_to_look_the_same(id_: str, said: bool) -> None:
    place = next(one.locations[0] for one in LARCH.devices if one.id == id_)
    told = found(watched(HEALTHY, {place: SEVEN})).of(id_)
    assert ("a key or switch that turns it off would look the same" in told.reasons) == said


def test_what_is_wrong_beside_the_hubs_leaving_stays_evidence() -> None:
    slow = tuple(
        replace(node, facts=node.facts | {"authorized": 0}, rung=Rung.IDENTIFIED, driver="")
        if (node.bus, node.location) == ("usb", KEYBOARD)
        else node
        for node in HEALTHY.nodes
    )
    capture = replace(HEALTHY, nodes=slow)
    before, told = (keyboard(each) for each in (capture, watched(capture, {HUB: SEVEN, KEYBOARD: SEVEN})))
    assert before.verdict is not Verdict.PRESENT
    assert (told.verdict, told.symptom, told.charged_to) == (before.verdict, before.symptom, "")


def test_the_demo_unit_comes_and_goes_as_it_was_made() -> None:
    told = found(load(str(FOLDER / "larch-13-watched.json")))
    loose = [one.device for one in told.findings if one.symptom is Symptom.INTERMITTENT]
    assert loose == ["keyboard", "touchpad", "fingerprint-reader", "battery"]


# --- The kernel's log, without a watch ---------------------------------------------------------


def by_log(count: int, seconds: float, *, doubtful: int = 0, wired: str = "hardwired") -> Finding:
    episode = Episode(
        location=KEYBOARD,
        trouble="intermittent",
        count=count,
        first_us=100_000_000,
        last_us=100_000_000 + int(seconds * 1e6 * (count - 1)),
        doubtful=doubtful,
    )
    nodes = tuple(
        replace(node, facts=node.facts | {"connect_type": wired})
        if (node.bus, node.location) == ("usb-port", KEYBOARD)
        else node
        for node in HEALTHY.nodes
    )
    return keyboard(replace(HEALTHY, nodes=nodes, episodes=(episode,)))


def test_a_wired_part_that_left_again_and_again_is_impaired_by_the_log_alone() -> None:
    told = by_log(6, 12.0)
    assert (told.verdict, told.symptom) == (Verdict.IMPAIRED, Symptom.INTERMITTENT)
    assert told.reasons[0].startswith("it left its place 6 times, about every 12.0 s (kernel's log)")
    assert told.watched is None


@pytest.mark.parametrize(
    ("count", "seconds", "doubtful", "wired"),
    [
        pytest.param(3, 12.0, 0, "hardwired", id="three times, as a firmware update does"),
        pytest.param(9, 3600.0, 0, "hardwired", id="once an hour, as a unit that sleeps"),
        pytest.param(5, 0.5, 0, "hardwired", id="within two seconds, as at a start"),
        pytest.param(6, 12.0, 3, "hardwired", id="half of the lines a device could have written"),
        pytest.param(6, 12.0, 0, "hotplug", id="in a socket"),
        pytest.param(6, 12.0, 0, "unknown", id="where firmware says nothing of the port"),
    ],
)
def test_what_else_can_explain_the_log_stays_a_reason(count: int, seconds: float, doubtful: int, wired: str) -> None:
    told = by_log(count, seconds, doubtful=doubtful, wired=wired)
    assert (told.verdict, told.symptom) == (Verdict.PRESENT, Symptom.WORKING)
    assert any("it left its place" in reason for reason in told.reasons)


# --- What a key, a sleep or a stick does is no fault --------------------------------------------

CAMERA = PLACES["camera"]
BLUETOOTH = next(one.locations[0] for one in LARCH.devices if one.id == "bluetooth")
ON_USB = [node.location for node in HEALTHY.nodes if node.bus == "usb" and node.kind is Kind.DEVICE]


def all_leaving(places: Iterable[str], moments: list[tuple[int, int]]) -> dict[str, list[tuple[int, int]]]:
    return dict.fromkeys(places, moments)


def loose(capture: Capture) -> list[str]:
    return [one.device for one in found(capture).findings if one.symptom is Symptom.INTERMITTENT]


def test_a_radio_or_a_camera_that_left_once_may_have_been_switched_off() -> None:
    for place in (BLUETOOTH, CAMERA):
        assert loose(watched(HEALTHY, {place: [(100_000, 1_500)]})) == []
    assert loose(watched(HEALTHY, all_leaving((BLUETOOTH, CAMERA), [(100_000, 1_500)]))) == []


def test_what_left_twice_or_with_something_that_no_key_turns_off_is_impaired() -> None:
    assert loose(watched(HEALTHY, {BLUETOOTH: [(50_000, 1_500), (100_000, 1_500)]})) == ["bluetooth"]
    assert loose(watched(HEALTHY, all_leaving((CAMERA, KEYBOARD), [(100_000, 1_500)]))) == ["keyboard", "camera"]


def test_one_enumeration_of_all_on_a_controller_is_told_and_not_held_against_it() -> None:
    capture = watched(HEALTHY, all_leaving(ON_USB, [(100_000, 1_500)]))
    assert loose(capture) == []
    told = keyboard(capture)
    assert (told.verdict, told.watched and told.watched.left, told.watched and told.watched.anew) == (
        Verdict.PRESENT,
        0,
        1,
    )
    assert any("enumerated anew once" in reason for reason in told.reasons)
    assert not any("never left" in reason for reason in told.reasons)


def test_a_controller_that_goes_on_losing_all_is_no_sleep() -> None:
    capture = watched(HEALTHY, all_leaving(ON_USB, [(at_ms, 1_500) for at_ms in (50_000, 100_000, 150_000)]))
    told = found(capture).of("internal-hub")
    assert (told.symptom, told.watched and told.watched.left) == (Symptom.INTERMITTENT, 2)


def test_where_one_thing_stayed_the_rest_did_not_start_anew() -> None:
    left = [place for place in ON_USB if place != CAMERA]
    assert "internal-hub" in loose(watched(HEALTHY, all_leaving(left, [(100_000, 1_500)])))


def test_what_left_as_the_system_woke_is_not_held_against_it() -> None:
    capture = watched(HEALTHY, {KEYBOARD: [(100_000, 1_500)]})
    (plain,) = capture.watches
    woken = replace(plain, slept=(99_000,))
    assert loose(capture) == ["keyboard"]
    assert loose(replace(capture, watches=(woken,))) == []
