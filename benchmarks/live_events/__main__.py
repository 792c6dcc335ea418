"""``PYTHONPATH=tests:. python -m benchmarks.live_events``: measures and writes ``RESULTS.md`` beside itself."""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median, quantiles

from virtual.build import built, work_folder

from benchmarks.live_events.measuring import Measured, measured, processor_ns, processor_percent

HERE = Path(__file__).parent
ABOUT = """\
# Live events: how many are told, how soon, and at what cost

Written by `PYTHONPATH=tests:. python -m benchmarks.live_events`. In the emulated laptop (`tests/virtual`, a real kernel
on an emulated processor, some ten to twenty times slower than a real one) six USB parts are taken out and put back at
random moments, absences from 0.4 s on, while `usbwatch watch --json` runs. What counts is what the kernel's log, read
in the guest by `cat`, says of departures and arrivals. Latency: from the stamp of the kernel's line to the moment a
reader in the guest gets the line of JSON; both clocks are held against each other by a line written into the log. The
peer, in the same run and read in the same way, is a bare loop of pyudev that prints each event of the kernel. A watch
holds an event back for 100 ms, so that what goes together is told as one."""


_BARE = {
    "uevents": "import select\nwaiting = select.poll()\nwhile True: waiting.poll(1000)",
    "looks": (
        "import os, select\nwaiting = select.poll()\ncount = os.open('/sys/kernel/uevent_seqnum', os.O_RDONLY)\n"
        "while True:\n waiting.poll(100)\n os.pread(count, 32, 0)"
    ),
}
"""By way, a loop that wakes as often as an idle watch and does no more than it must: the least that Python can take."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Idle:
    """Percent of a core that a watch takes while nothing happens, and that a bare loop takes in the same time."""

    own: float
    peer: float


def main() -> int:
    """Measure each way, and write the results."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--changes", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--idle", type=float, default=60)
    parser.add_argument("--ways", nargs="+", default=["uevents", "looks"])
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=work_folder()) as folder:
        files = built(Path(folder))
        runs: list[Measured] = []
        native: dict[str, _Idle] = {}
        for way in asked.ways:
            runs.append(measured(files, way, asked.seed, asked.changes, asked.idle))
            native[way] = _native_idle(way, asked.idle)
            page = "\n\n".join([ABOUT, _machine(asked.seed), _table(runs), _costs(runs, native)])
            print(page, flush=True)
            (HERE / "RESULTS.md").write_text(page + "\n", "utf-8")
    return 0 if all(one.seen == one.expected and not one.phantoms and one.in_order for one in runs) else 1


def _machine(seed: int) -> str:
    load = os.getloadavg()[1]
    return (
        f"Machine: {os.cpu_count()} cores, shared with other work (load of the last five minutes: {load:.1f}), "
        f"CPython {platform.python_version()} outside; seed {seed}."
    )


def _table(runs: list[Measured]) -> str:
    rows = [
        "| heard by | done | logged | told | phantoms | in order | limit | p50 | p95 | most | peer p50 | p50 / peer |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for one in runs:
        middle, peer = median(one.latencies_ms), median(one.peer_ms)
        high, most = quantiles(one.latencies_ms, n=20)[-1], max(one.latencies_ms)
        cells = [one.way, one.done, one.expected, one.seen, one.phantoms, "yes" if one.in_order else "NO"]
        cells += [f"{figure:.0f} ms" for figure in (one.limit_ms, middle, high, most, peer)]
        rows.append(f"| {' | '.join(map(str, cells))} | {middle / peer:.1f} |")
    return "\n".join(rows)


def _costs(runs: list[Measured], native: dict[str, _Idle]) -> str:
    rows = [
        "Processor time while nothing happens, in percent of one core:",
        "",
        "| heard by | emulated | peer, emulated | on the machine that measures | a bare loop there |",
        "| --- | --- | --- | --- | --- |",
        *(
            f"| {one.way} | {one.idle_percent:.2f} % | {one.peer_idle_percent:.2f} % | "
            f"{native[one.way].own:.2f} % | {native[one.way].peer:.2f} % |"
            for one in runs
        ),
        "",
        "The machine that measures has no batteries to read; the emulated laptop has two supplies, read every 2 s. The",
        "bare loop wakes once a second (events), or ten times and reads the kernel's count (looks), and does no more.",
    ]
    return "\n".join(rows)


def _run_ns(pid: int) -> int:
    return processor_ns("".join(path.read_text() for path in Path(f"/proc/{pid}/task").glob("*/schedstat")))


def _started(command: list[str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)


def _native_idle(way: str, seconds: float) -> _Idle:
    """What a watch of this machine takes once it has begun, and what the bare loop of ``_BARE`` takes beside it."""
    watch = [sys.executable, "-m", "usbwatch", "watch", "--json", "--no-record", "--source", way]
    watch += ["--profile", "generic-clamshell"]
    with _started(watch) as run, _started([sys.executable, "-c", _BARE[way]]) as bare:
        assert run.stdout is not None
        run.stdout.readline()
        time.sleep(3)
        before, began = (_run_ns(run.pid), _run_ns(bare.pid)), time.monotonic()
        time.sleep(seconds)
        after, took_s = (_run_ns(run.pid), _run_ns(bare.pid)), time.monotonic() - began
        run.terminate()
        bare.terminate()
    own, peer = (processor_percent(end - start, took_s) for start, end in zip(before, after, strict=True))
    return _Idle(own=own, peer=peer)


if __name__ == "__main__":
    sys.exit(main())
