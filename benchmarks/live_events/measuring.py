"""One run in the emulated laptop: a watch and, beside it, a bare monitor, while parts come and go at random moments."""

from __future__ import annotations

import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from virtual.build import Built, work_folder
from virtual.laptop import HEALTHY, Laptop, running
from virtual.watched import Run, changed_at_random, logged, out_of_order, sh, watching

__all__ = ["Measured", "measured", "processor_ns", "processor_percent"]

_STAMPED = "python3 /opt/usbwatch/stamped.py"
_SHORTEST_S = 0.4
_MONITOR = "[p]ython3 /opt/usbwatch/bare_monitor"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What came of one run."""

    way: str
    done: int
    """Changes made to the hardware."""
    expected: int
    """Of these, changes that the kernel logged, and any that it logged besides."""
    seen: int
    phantoms: int
    in_order: bool
    limit_ms: int
    latencies_ms: tuple[float, ...]
    """From the kernel's log stamp to the moment the line was read, of each change."""
    peer_ms: tuple[float, ...]
    """The same of the bare monitor's line for the device."""
    idle_percent: float
    peer_idle_percent: float


def measured(files: Built, way: str, seed: int, changes: int, idle_s: float) -> Measured:
    """A boot, a stretch in which nothing happens, and then the changes."""
    with (
        tempfile.TemporaryDirectory(dir=work_folder()) as folder,
        running(files, HEALTHY, Path(folder)) as laptop,
    ):
        sh(laptop, f"(python3 /opt/usbwatch/bare_monitor.py | {_STAMPED} >/tmp/peer.out) & true")
        with watching(laptop, f"--profile fernhill-larch-13 --source {way}", _STAMPED) as run:
            ahead_us = int(sh(laptop, "python3 /opt/usbwatch/log_clock.py"))
            peer = sh(laptop, f"ps | grep '{_MONITOR}' | head -n 1").split()[0]
            # Long before the first change, for this clock may run ahead of the log's.
            began_us = int(float(sh(laptop, "cat /proc/uptime").split()[0]) * 1_000_000)
            time.sleep(5)
            idle = _idle(laptop, (run.pid, peer), idle_s)
            course = changed_at_random(laptop, seed, changes, shortest_s=_SHORTEST_S)
            truth = logged(laptop, began_us)
        heard = laptop.machine.fetch("/tmp/peer.out").decode().splitlines()
        return _scored(way, run=run, done=course.done, truth=truth, heard=heard, ahead_us=ahead_us, idle=idle)


def _idle(laptop: Laptop, pids: Iterable[str], seconds: float) -> list[float]:
    """Percent of one processor that each process takes while nothing happens."""
    before = [processor_ns(sh(laptop, f"cat /proc/{pid}/task/*/schedstat")) for pid in pids]
    began = time.monotonic()
    time.sleep(seconds)
    after = [processor_ns(sh(laptop, f"cat /proc/{pid}/task/*/schedstat")) for pid in pids]
    return [processor_percent(end - start, time.monotonic() - began) for start, end in zip(before, after, strict=True)]


def processor_ns(schedstats: str) -> int:
    """Nanoseconds that all threads of a process have run, by their /proc/PID/task/TID/schedstat, a line each.

    The first field (Documentation/scheduler/sched-stats.rst); /proc/PID/stat has hundredths of a second alone.
    """
    return sum(int(row.split()[0]) for row in schedstats.splitlines())


def processor_percent(spent_ns: int, seconds: float) -> float:
    """Time that was spent in a time, as percent of one processor."""
    return 100 * spent_ns / 1e9 / seconds


def _scored(
    way: str,
    *,
    run: Run,
    done: list[tuple[str, str]],
    truth: list[tuple[int, str, str]],
    heard: list[str],
    ahead_us: int,
    idle: list[float],
) -> Measured:
    seen = Counter(run.events) & Counter(truth)
    per_place = {port: [row[1] for row in truth if row[2] == port] for _, _, port in truth}
    in_order = all([row[1] for row in run.events if row[2] == port] == told for port, told in per_place.items())
    in_order = in_order and not out_of_order(run.events)
    return Measured(
        way=way,
        done=len(done),
        expected=len(truth),
        seen=seen.total(),
        phantoms=len(run.events) - seen.total(),
        in_order=in_order,
        limit_ms=int(run.objects[0]["limit_ms"]),
        latencies_ms=_latencies(run, ahead_us),
        peer_ms=_peer_latencies(truth, heard, ahead_us),
        idle_percent=idle[0],
        peer_idle_percent=idle[1],
    )


def _latencies(run: Run, ahead_us: int) -> tuple[float, ...]:
    """Of each event from its stamp to the first line that told of it."""
    first: dict[tuple[int, str], int] = {}
    for told, arrived_us in zip(run.objects, run.arrived_us, strict=True):
        for event in told.get("events", ()):
            if event["kernel_us"]:
                first.setdefault((event["kernel_us"], event["location"]), arrived_us)
    return tuple((arrived_us - ahead_us - stamp_us) / 1000 for (stamp_us, _), arrived_us in sorted(first.items()))


def _peer_latencies(truth: list[tuple[int, str, str]], heard: list[str], ahead_us: int) -> tuple[float, ...]:
    """Of each change from its stamp to the monitor's line; the nth line of a device belongs to its nth change."""
    words = {"remove": "gone", "add": "came back"}
    lines: dict[tuple[str, str], list[int]] = {}
    for line in heard:
        arrived_us, action, folder = line.split(maxsplit=2)
        name = folder.rpartition("/")[2]
        if action in words and name.startswith("1-") and ":" not in name:
            lines.setdefault((words[action], name.partition("-")[2]), []).append(int(arrived_us))
    latencies: list[float] = []
    for stamp_us, change, port in truth:
        mine = lines.get((change, port), [])
        if mine:
            latencies.append((mine.pop(0) - ahead_us - stamp_us) / 1000)
    return tuple(latencies)
