"""What happenings come to. The truth is a bench's: a device is there or not, and each change of that is one event.

The order of news that the kernel keeps, and that these sequences follow: ``usb_disconnect``, ``hub_port_connect`` and
``usb_new_device`` in drivers/usb/core/hub.c (log line, then the event of sysfs).
"""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.happenings import ROOT, arrived, departed, device, events_of, line, told

from usbwatch.capture.stream.following import BELIEVE_MS, HOLD_MS, LATE_MS, PATIENCE_MS, begun, followed, passed
from usbwatch.capture.stream.news import (
    Arrived,
    Departed,
    Driven,
    Dropped,
    Happening,
    Logged,
    LogWord,
    Looked,
    OverCurrent,
    Seen,
    Slept,
    Stood,
)
from usbwatch.capture.stream.telling import merged
from usbwatch.model import Change, WatchEvent


def battery(at_ms: int, *, there: bool = True, talks: bool = True) -> Stood:
    return Stood(at_ms=at_ms, bus="acpi", location="acpi/_SB_.BAT0", there=there, talks=talks)


def test_a_departure_that_log_and_kernel_tell_of_is_one_event() -> None:
    (gone,) = events_of(
        [device("4.1", name="Larch Internal Keyboard")],
        [line(1000, LogWord.GONE, "4.1", stamp_us=77_000_000), departed(1040, "4.1")],
    )
    assert gone == WatchEvent(
        at_ms=1000,
        change=Change.GONE,
        bus="usb",
        location=f"{ROOT}/4.1",
        name="Larch Internal Keyboard",
        identity="1209:0001",
        kernel_us=77_000_000,
    )


def test_a_return_says_how_long_it_was_gone_and_when_the_log_told_of_it() -> None:
    events = events_of(
        [device("4.1", name="Larch Internal Keyboard")],
        [
            departed(1000, "4.1"),
            line(1000, LogWord.GONE, "4.1"),
            line(2400, LogWord.FOUND, "4.1", stamp_us=78_400_000),
            arrived(2410, device("4.1")),
        ],
    )
    assert told(events) == [("gone", "4.1"), ("came back", "4.1")]
    back = events[1]
    assert (back.away_ms, back.kernel_us, back.name) == (1410, 78_400_000, "Larch Internal Keyboard")


def test_something_new_is_named_as_the_log_names_it() -> None:
    (came,) = events_of(
        [],
        [
            line(5, LogWord.FOUND, "1", stamp_us=9),
            line(5, LogWord.NAMED, "1", text="A stick"),
            arrived(6, device("1", speed_kbps=480_000, product=9)),
        ],
    )
    assert (came.change, came.name, came.speed_kbps, came.kernel_us) == (Change.CAME, "A stick", 480_000, 9)


def test_another_device_in_its_place_does_not_take_its_name() -> None:
    events = events_of(
        [device("1", name="Larch Touchpad", product=2)], [departed(5, "1"), arrived(900, device("1", product=9))]
    )
    assert [(event.change, event.name) for event in events] == [
        (Change.GONE, "Larch Touchpad"),
        (Change.BACK, ""),
    ]


def test_a_return_at_a_lower_speed_is_told_as_both_and_so_is_full_speed_again() -> None:
    fast, slow = device("5", speed_kbps=480_000), device("5", speed_kbps=12_000)
    events = events_of([fast], [departed(1, "5"), arrived(500, slow), departed(900, "5"), arrived(1400, fast)])
    assert told(events) == [
        (word, "5") for word in ("gone", "came back", "fell back", "gone", "came back", "up to speed")
    ]
    assert [(event.was_kbps, event.speed_kbps) for event in events if event.was_kbps] == [
        (480_000, 12_000),
        (12_000, 480_000),
    ]


def test_a_superspeed_device_at_the_usb2_half_of_its_connector_fell_back() -> None:
    """The two halves of a connector are peers (drivers/usb/core/port.c)."""
    here, twin = "pci0000:00/14.0/usb3/2", f"{ROOT}/2"
    disk = Seen(bus="usb", location=here, identity="1209:0006", speed_kbps=5_000_000)
    at_usb2 = Seen(bus="usb", location=twin, identity="1209:0006", speed_kbps=480_000)
    happenings: list[Happening] = [Departed(at_ms=10, bus="usb", location=here), arrived(900, at_usb2)]
    events = events_of([], happenings, state=begun([disk], peers={here: twin, twin: here}))
    assert [(event.change, event.location, event.was_kbps) for event in events] == [
        (Change.GONE, here, 0),
        (Change.CAME, twin, 0),
        (Change.SLOWER, twin, 5_000_000),
    ]


def test_a_part_that_fails_to_enumerate_is_told_once_with_its_last_error() -> None:
    """The lines of one connection: hub_port_connect in drivers/usb/core/hub.c; -71 is EPROTO."""
    (gone, failed) = events_of(
        [device("4.2", name="Larch Touchpad")],
        [
            line(0, LogWord.GONE, "4.2"),
            departed(20, "4.2"),
            *(line(1000 + step, LogWord.FAILURE, "4.2", errno=-71) for step in range(0, 800, 100)),
            line(1900, LogWord.GAVE_UP, "4.2", stamp_us=5),
        ],
        end_ms=60_000,
    )
    assert gone.change is Change.GONE
    assert (failed.change, failed.errno, failed.kernel_us, failed.name) == (Change.FAILED, -71, 5, "Larch Touchpad")


def test_a_part_that_never_answers_is_told_before_the_kernel_gives_up() -> None:
    slow = [line(5000 * step, LogWord.FAILURE, "6", errno=-110) for step in range(1, 12)]
    events = events_of([], [*slow, line(60_000, LogWord.GAVE_UP, "6")], end_ms=90_000)
    assert [(event.change, event.at_ms) for event in events] == [(Change.FAILED, 5000 + PATIENCE_MS)]


def test_failures_before_a_success_are_no_event() -> None:
    events = events_of(
        [],
        [
            line(0, LogWord.FAILURE, "6", errno=-71),
            line(300, LogWord.FOUND, "6"),
            arrived(310, device("6")),
        ],
        end_ms=60_000,
    )
    assert told(events) == [("came", "6")]


def test_one_failure_and_then_silence_is_no_part_that_fails() -> None:
    """A device that leaves in the middle of an attempt: hub_port_connect stops at ENOTCONN without a word."""
    events = events_of(
        [device("6")],
        [
            line(1000, LogWord.GONE, "6"),
            departed(1001, "6"),
            line(1200, LogWord.FOUND, "6"),
            line(1300, LogWord.FAILURE, "6", errno=-71),
            OverCurrent(at_ms=11_400, location=f"{ROOT}/9"),  # anything, so that time passes
        ],
        end_ms=60_000,
    )
    assert told(events) == [("gone", "6"), ("over-current", "9")]


def test_a_failure_that_has_nothing_to_do_with_the_next_one_begins_no_trouble() -> None:
    apart = [line(at_ms, LogWord.FAILURE, "6", errno=-71) for at_ms in (1000, 40_000, 80_000)]
    assert events_of([], apart, end_ms=100_000) == ()


def test_the_kernels_attempts_are_one_trouble_told_once() -> None:
    """Each attempt is found anew, and its three tries take 15 s: hub_port_init in drivers/usb/core/hub.c."""
    words = [LogWord.FOUND, LogWord.FAILURE, LogWord.FAILURE] * 2 + [LogWord.FOUND, LogWord.FAILURE, LogWord.GAVE_UP]
    times = [0, 15_600, 31_200, 31_400, 47_000, 62_600, 63_000, 73_500, 73_600]
    attempts = [line(at_ms, word, "6", errno=-110) for at_ms, word in zip(times, words, strict=True)]
    events = events_of([], attempts, end_ms=90_000)
    assert [(event.change, event.at_ms) for event in events] == [(Change.FAILED, 31_200)]


def test_a_failure_in_a_reset_that_succeeds_is_forgotten_when_the_device_leaves_later() -> None:
    failure = line(5000, LogWord.FAILURE, "6", errno=-110)
    for later in (6000, 70_000):
        events = events_of([device("6")], [failure, departed(later, "6")], end_ms=later + 30_000)
        assert told(events) == [("gone", "6")]
    many = [line(5000 + 5000 * step, LogWord.FAILURE, "6", errno=-110) for step in range(5)]
    assert events_of([device("6")], many, end_ms=90_000) == ()


def test_over_current_that_lasts_is_told_again_and_again() -> None:
    """Counted from what was told: a window that slid with the news would swallow all that follows the first."""
    news = [OverCurrent(at_ms=1000 + 2500 * step, location=f"{ROOT}/3") for step in range(13)]
    events = events_of([], news)
    assert [event.at_ms for event in events] == list(range(1000, 31_001, 5000))


def test_over_current_that_hub_and_log_tell_of_is_one_event_and_the_next_one_another() -> None:
    port = f"{ROOT}/3"
    events = events_of(
        [],
        [
            OverCurrent(at_ms=0, location=port),
            line(150, LogWord.OVER_CURRENT, "3"),
            OverCurrent(at_ms=9000, location=port),
        ],
    )
    assert told(events) == [("over-current", "3"), ("over-current", "3")]


def test_a_reset_is_an_event_unless_a_driver_begins_with_it() -> None:
    events = events_of(
        [device("8")],
        [
            line(0, LogWord.RESET, "8"),
            departed(3000, "8"),
            arrived(4000, device("8")),
            line(4500, LogWord.RESET, "8"),
            line(9000, LogWord.RESET, "8"),
            line(9001, LogWord.RESET, "9"),  # nothing is known to be there
        ],
    )
    assert told(events) == [(word, "8") for word in ("reset", "gone", "came back", "reset")]


def lets_go(at_ms: int, part: str = "1-4.2:1.0", driver: str = "") -> Driven:
    return Driven(at_ms=at_ms, bus="usb", location=f"{ROOT}/4.2", part=part, driver=driver)


def test_a_driver_that_leaves_a_device_that_stays_is_told_and_so_is_its_return() -> None:
    both = [lets_go(0), lets_go(1, "1-4.2:1.1")]
    again = [lets_go(5000, driver="usbhid"), lets_go(5001, "1-4.2:1.1", "usbhid")]
    events = events_of([device("4.2")], [*both, *again])
    assert [(event.change, event.at_ms) for event in events] == [(Change.UNBOUND, 5000), (Change.BOUND, 5001)]
    assert [event.at_ms for event in events_of([device("4.2")], both, end_ms=HOLD_MS)] == [HOLD_MS]


def test_drivers_of_what_departs_or_arrives_are_consequences() -> None:
    """Drivers go before the device does (``usb_disable_device``), and come after it has come."""
    events = events_of(
        [device("4.2")],
        [
            lets_go(0),
            departed(30, "4.2"),
            arrived(900, device("4.2")),
            lets_go(950, driver="usbhid"),
            lets_go(4000),  # a reset takes a driver off and on
            lets_go(4200, driver="usbhid"),
        ],
        end_ms=60_000,
    )
    assert told(events) == [("gone", "4.2"), ("came back", "4.2")]


def test_a_gauge_that_goes_mute_and_a_pack_that_leaves() -> None:
    steps = [(0, True, True), (2000, True, False), (4000, True, False), (6000, True, True), (8000, False, True)]
    happenings = [battery(at, there=there, talks=talks) for at, there, talks in steps]
    state = begun([], [battery(0)])
    events = events_of([], happenings, state=state)
    assert [(event.change, event.at_ms, event.location) for event in events] == [
        (Change.MUTE, 2000, "acpi/_SB_.BAT0"),
        (Change.TALKING, 6000, "acpi/_SB_.BAT0"),
        (Change.GONE, 8000, "acpi/_SB_.BAT0"),
    ]


def test_mains_that_goes_and_comes_is_no_departure_for_its_detection_stays() -> None:
    """ACPI 6.5, 10.3.1: the object of a power source is there whether it is on-line or off-line (_PSR 0 or 1)."""
    steps = [(0, True), (2000, False), (4000, False), (6000, True)]
    mains = [Stood(at_ms=at, bus="acpi", location="acpi/_SB_.AC0_", there=there, mains=True) for at, there in steps]
    off, on = events_of([], mains, state=begun([], [mains[0]]))
    assert (off.change, off.at_ms, on.change, on.at_ms, on.away_ms) == (Change.OFFLINE, 2000, Change.ONLINE, 6000, 4000)
    (first,) = events_of([], mains[1:], state=begun([], [mains[1]]))
    assert (first.change, first.at_ms, first.away_ms) == (Change.ONLINE, 6000, 0)


def test_a_bay_that_was_empty_gets_a_pack_that_is_mute() -> None:
    events = events_of([], [battery(9, talks=False)])
    assert [event.change for event in events] == [Change.CAME, Change.MUTE]


def test_a_look_tells_of_what_left_and_came_between_two_looks() -> None:
    """Another number of the entry is another stay; how late it is told stands beside it."""
    there = [device("1", entry=7), device("2", entry=8), device("3", entry=9)]
    look = Looked(at_ms=500, since_ms=100, seen=(device("1", entry=7), device("3", entry=20), device("5", entry=21)))
    events = events_of(there, [look])
    assert told(events) == [("gone", "2"), ("gone", "3"), ("came back", "3"), ("came", "5")]
    assert [event.unseen_ms for event in events] == [0, 100, 100, 0]


def test_a_look_that_still_finds_what_is_on_its_way_out_brings_nothing_back() -> None:
    """The log tells of a departure before the folder is taken down."""
    whole = Looked(at_ms=10, since_ms=10, seen=(device("1", entry=7),))
    without = Looked(at_ms=110, since_ms=100, seen=())
    events = events_of([device("1", entry=7)], [line(0, LogWord.GONE, "1"), whole, without])
    assert told(events) == [("gone", "1")]


def lossy(*news: Happening, end_ms: int = 10_000) -> list[tuple[str, int, int]]:
    """What is told after a look that made up for lost news: it found another stay at port 1."""
    look = Looked(at_ms=1000, seen=(device("1", entry=2),), since_ms=100)
    events = events_of([device("1", entry=1)], [look, *news], end_ms=end_ms)
    assert [(event.change, event.at_ms) for event in events[:2]] == [(Change.GONE, 1000), (Change.BACK, 1000)]
    return [(event.change.value, event.at_ms, event.unseen_ms) for event in events[2:]]


def test_news_of_before_a_look_that_comes_after_it_is_told_once() -> None:
    assert lossy(departed(1001, "1"), arrived(1002, device("1", entry=2))) == []
    whole = Looked(at_ms=1500, seen=(device("1", entry=2),), since_ms=500)
    assert lossy(departed(1001, "1"), whole) == []


def test_a_departure_soon_after_a_look_is_told_all_the_same_when_nothing_shows_that_it_is_an_old_one() -> None:
    assert lossy(departed(1300, "1"), end_ms=1300 + LATE_MS) == [("gone", 1300 + LATE_MS, LATE_MS)]
    assert lossy(departed(1300, "1"), arrived(1500, device("1", entry=3))) == [
        ("gone", 1500, 200),
        ("came back", 1500, 200),
    ]
    assert lossy(departed(1300, "1"), Looked(at_ms=1500, seen=(), since_ms=500)) == [("gone", 1500, 0)]
    assert lossy(departed(1000 + LATE_MS, "1")) == [("gone", 1000 + LATE_MS, 0)]


def test_what_is_still_in_its_folder_long_after_the_log_said_that_it_left_is_there() -> None:
    """The line was of an earlier stay, the events of which were lost."""
    seen = (device("1", entry=7),)
    soon, later = (Looked(at_ms=at_ms, seen=seen, since_ms=100) for at_ms in (BELIEVE_MS, 100 + BELIEVE_MS))
    events = events_of([device("1", entry=7)], [line(100, LogWord.GONE, "1"), soon, later])
    assert [(event.change, event.at_ms, event.unseen_ms) for event in events] == [
        (Change.GONE, 100, 0),
        (Change.BACK, 100 + BELIEVE_MS, BELIEVE_MS),
    ]


def test_moments_at_which_the_machine_was_found_to_have_slept_are_kept() -> None:
    state = begun([device("1")])
    for at_ms in (5000, 9000):
        state, events = followed(state, Slept(at_ms=at_ms, asleep_ms=60_000))
        assert events == ()
    assert passed(state, 20_000)[0].slept == (5000, 9000)


@pytest.mark.parametrize(
    "news",
    [
        arrived(1, device("1")),
        departed(1, "9"),
        line(1, LogWord.GONE, "9"),
        line(1, LogWord.NAMED, "1", text="x"),
        lets_go(1, driver="usbhid"),
        Dropped(at_ms=1),
        Logged(at_ms=1, word=LogWord.GAVE_UP, location=""),
        battery(1, there=False),
    ],
    ids=lambda news: type(news).__name__,
)
def test_news_that_changes_nothing_is_no_event(news: Happening) -> None:
    assert events_of([device("1")], [news], end_ms=60_000) == ()


# Any coming and going, told by any sources that each keep their own order


class Bench:
    """A true course of departures and arrivals, and what the two sources tell of it.

    Each source keeps the order of what happened. The log's line comes before the kernel's event of the same, so what
    was heard of the events never runs ahead of the log.
    """

    def __init__(self, seed: int, ports: int, steps: int) -> None:
        dice = random.Random(seed)
        self.there = [device(str(port), entry=100 + port) for port in range(ports)]
        here = {one.location: one for one in self.there}
        self.truth: list[tuple[Change, str]] = []
        self.log: list[list[Logged]] = []
        self.kernel: list[Happening] = []
        for step in range(steps):
            port = str(dice.randrange(ports))
            seen = device(port, entry=1000 + step)
            if seen.location in here:
                del here[seen.location]
                self.truth.append((Change.GONE, seen.location))
                self.log.append([line(step, LogWord.GONE, port, stamp_us=step)])
                self.kernel.append(departed(step, port))
            else:
                here[seen.location] = seen
                self.truth.append((Change.BACK, seen.location))
                self.log.append(
                    [line(step, LogWord.FOUND, port, stamp_us=step), line(step, LogWord.NAMED, port, text="n")]
                )
                self.kernel.append(arrived(step, seen))

    def batches(self, dice: random.Random) -> list[Happening]:
        """Both sources in batches of any size, the kernel's events never ahead of the log."""
        happened: list[Happening] = []
        logged = heard = 0
        while heard < len(self.kernel):
            logged = dice.randint(max(logged, heard), len(self.log))
            upto = dice.randint(heard, logged)
            lines = [one for some in self.log[self._read : logged] for one in some]
            self._read = logged
            happened += merged(lines, self.kernel[heard:upto])
            heard = upto
        return happened

    _read = 0


@pytest.mark.properties
class TestOrderTrueAndWithoutPhantoms:
    """For each place the events are its true changes in their order, told once each, whichever source is first."""

    @given(st.integers(0, 10_000), st.integers(1, 5), st.integers(1, 40))
    def test_with_the_kernels_events_alone_all_is_told_in_order(self, seed: int, ports: int, steps: int) -> None:
        bench = Bench(seed, ports, steps)
        events = events_of(bench.there, bench.kernel)
        assert [(event.change, event.location) for event in events] == bench.truth

    @given(st.integers(0, 10_000), st.integers(1, 5), st.integers(1, 40))
    def test_with_the_log_read_at_once_all_is_told_in_order(self, seed: int, ports: int, steps: int) -> None:
        bench = Bench(seed, ports, steps)
        happened = [one for lines, news in zip(bench.log, bench.kernel, strict=True) for one in merged(lines, [news])]
        events = events_of(bench.there, happened)
        assert [(event.change, event.location) for event in events] == bench.truth
        assert [event.kernel_us for event in events] == list(range(steps))

    @given(st.integers(0, 10_000), st.integers(1, 5), st.integers(1, 40))
    def test_in_batches_of_any_size_each_place_has_its_own_true_course(self, seed: int, ports: int, steps: int) -> None:
        bench = Bench(seed, ports, steps)
        events = events_of(bench.there, bench.batches(random.Random(seed)))
        for place in {location for _, location in bench.truth}:
            mine = [event.change for event in events if event.location == place]
            assert mine == [change for change, location in bench.truth if location == place]

    @given(st.integers(0, 10_000), st.integers(1, 5), st.integers(1, 40), st.integers(1, 6))
    def test_looks_alone_never_tell_what_was_not(self, seed: int, ports: int, steps: int, every: int) -> None:
        bench = Bench(seed, ports, steps)
        here = {one.location: one for one in bench.there}
        looks: list[Happening] = []
        for step, news in enumerate(bench.kernel):
            if isinstance(news, Departed):
                here.pop(news.location)
            elif isinstance(news, Arrived):
                here[news.seen.location] = news.seen
            if step % every == 0 or step == steps - 1:
                looks.append(Looked(at_ms=step, since_ms=every, seen=tuple(here.values())))
        events = events_of(bench.there, looks)
        for place in {location for _, location in bench.truth}:
            mine = [event.change for event in events if event.location == place]
            assert all(one is not other for one, other in pairwise(mine))
            true = [change for change, location in bench.truth if location == place]
            assert len(mine) <= len(true)
            assert mine[-1:] == true[-1:] or len(true) % 2 == 0
