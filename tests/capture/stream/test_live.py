"""The stream of this machine, with a monitor and a count that the test holds in its hand."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.small_tree import laptop

from usbwatch.capture.stream import live
from usbwatch.capture.stream.count import KernelCount
from usbwatch.capture.stream.live import LiveStream
from usbwatch.capture.stream.log_tail import LogTail
from usbwatch.capture.stream.news import Dropped, Looked, Slept
from usbwatch.capture.stream.uevents import NoMonitor, Uevent, Uevents

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="sysfs is Linux's own")


class Monitor:
    """A monitor that gives what it is told to."""

    def __init__(self) -> None:
        self.end, self.wake = os.pipe()
        self.left: list[tuple[list[Uevent], bool]] = []

    def fileno(self) -> int:
        return self.end

    def read(self) -> tuple[list[Uevent], bool]:
        if not self.left:
            return [], False
        os.read(self.end, 1)
        return self.left.pop(0)

    def gives(self, *events: Uevent, dropped: bool = False) -> None:
        self.left.append((list(events), dropped))
        os.write(self.wake, b".")


class Log(LogTail):
    """The log, at the end of a pipe of the test's own."""

    def __init__(self, handle: int) -> None:
        self._handle = handle
        self.ended = False
        os.set_blocking(handle, False)


@pytest.fixture
def count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The kernel's count, as a file of the test's own."""
    file = tmp_path / "uevent_seqnum"
    file.write_text("100\n")
    monkeypatch.setattr(live, "KernelCount", lambda: KernelCount(str(file)))
    return file


@pytest.fixture
def monitor(monkeypatch: pytest.MonkeyPatch) -> Iterator[Monitor]:
    one = Monitor()
    monkeypatch.setattr(live, "Uevents", lambda: one)
    yield one
    os.close(one.end)
    os.close(one.wake)


def event(number: int) -> Uevent:
    return Uevent(action="change", subsystem="x", folder="sys/devices/x", keys={"SEQNUM": str(number)})


def waited(stream: LiveStream, seconds: int) -> list[object]:
    end_ms = stream.now_ms() + 1000 * seconds
    happened: list[object] = []
    while stream.now_ms() < end_ms:
        happened += stream.wait(0.5)
    return happened


def test_dropped_news_is_told_and_made_up_for_by_a_look(count: Path, monitor: Monitor) -> None:
    assert count.exists()
    with LiveStream() as stream:
        stream.begin(laptop())
        monitor.gives(dropped=True)
        happened = stream.wait(5)
    assert [type(one) for one in happened if isinstance(one, Dropped | Looked)] == [Dropped, Looked]


def test_where_the_monitor_stays_silent_looks_take_over(count: Path, monitor: Monitor) -> None:
    """A container's network namespace gets none of the events that the kernel counts."""
    assert not monitor.left
    with LiveStream() as stream:
        stream.begin(laptop())
        assert "uevents" in stream.sources
        count.write_text("140\n")
        happened = waited(stream, 3)
        assert ("looks" in stream.sources, "uevents" in stream.sources) == (True, False)
        assert stream.limit_ms == 200
        assert "do not reach this process" in stream.lacking[-1]
    assert any(isinstance(one, Looked) for one in happened)


def test_a_monitor_that_keeps_up_needs_no_look(count: Path, monitor: Monitor) -> None:
    with LiveStream() as stream:
        stream.begin(laptop())
        count.write_text("101\n")
        monitor.gives(event(101))
        happened = waited(stream, 3)
        assert "uevents" in stream.sources
    assert not [one for one in happened if isinstance(one, Looked)]


def test_one_event_that_never_came_is_made_up_for_and_the_monitor_is_kept(count: Path, monitor: Monitor) -> None:
    with LiveStream() as stream:
        stream.begin(laptop())
        count.write_text("103\n")
        monitor.gives(event(101))
        happened = waited(stream, 4)
        assert "uevents" in stream.sources
    assert len([one for one in happened if isinstance(one, Looked)]) == 1


def test_after_a_look_that_made_up_for_lost_news_there_is_one_more(
    count: Path, monitor: Monitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it found on its way out is looked at again when it must have left."""
    monkeypatch.setattr(live, "_AGAIN_MS", 1500)
    assert count.exists()
    with LiveStream() as stream:
        stream.begin(laptop())
        monitor.gives(dropped=True)
        happened = waited(stream, 4)
    assert len([one for one in happened if isinstance(one, Looked)]) == 2


def test_a_log_that_ends_is_let_go_and_no_source_any_more(
    count: Path, monitor: Monitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A poll of a file at its end returns at once, for ever."""
    assert (count.exists(), monitor.left) == (True, [])
    reading, writing = os.pipe()
    monkeypatch.setattr(live, "LogTail", lambda: Log(reading))
    with LiveStream() as stream:
        stream.begin(laptop())
        assert "kernel log" in stream.sources
        os.close(writing)
        rounds = 0
        end_ms = stream.now_ms() + 1500
        while stream.now_ms() < end_ms:
            stream.wait(0.5)
            rounds += 1
        assert "kernel log" not in stream.sources
        assert stream.lacking[-1] == "the kernel's log came to an end"
    assert rounds < 100


def test_a_suspension_is_told_before_what_came_with_it(
    count: Path, monitor: Monitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert count.exists()
    with LiveStream() as stream:
        stream.begin(laptop())
        monkeypatch.setattr(stream._clock, "_boot", lambda: time.clock_gettime_ns(time.CLOCK_BOOTTIME) + 60_000_000_000)
        monitor.gives(dropped=True)
        slept, *others = stream.wait(5)
    assert isinstance(slept, Slept)
    assert 60_000 - 1000 < slept.asleep_ms <= 60_000
    assert Slept not in {type(one) for one in others}


def test_a_wait_ends_when_somebody_else_has_something(count: Path, monitor: Monitor) -> None:
    assert (count.exists(), monitor.left) == (True, [])
    reading, writing = os.pipe()
    with LiveStream(wakes=(reading,)) as stream:
        stream.begin(laptop())
        os.write(writing, b".")
        began_ms = stream.now_ms()
        stream.wait(60)
        assert stream.now_ms() - began_ms < 30_000
        stream.forget(reading)
        assert stream.wait(0) == ()
    os.close(reading)
    os.close(writing)


def test_without_the_library_there_is_no_monitor_and_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyudev", None)
    with pytest.raises(NoMonitor, match="pyudev is not installed"):
        Uevents()
    with pytest.raises(NoMonitor):
        LiveStream("uevents")
    with LiveStream() as stream:
        assert "looks" in stream.sources
        assert "pyudev is not installed" in " ".join(stream.lacking)
