"""``PYTHONPATH=tests:. python -m benchmarks.live_events``: measures and writes ``RESULTS.md`` beside itself."""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median, quantiles

from virtual.build import built, work_folder

from benchmarks.live_events.measuring import Measured, measured, processor_percent, processor_ticks

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
        native: dict[str, float] = {}
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


def _costs(runs: list[Measured], native: dict[str, float]) -> str:
    rows = [
        "Processor time while nothing happens, in percent of one core:",
        "",
        "| heard by | emulated | peer, emulated | on the machine that measures |",
        "| --- | --- | --- | --- |",
        *(
            f"| {one.way} | {one.idle_percent:.2f} % | {one.peer_idle_percent:.2f} % | {native[one.way]:.2f} % |"
            for one in runs
        ),
        "",
        "The machine that measures has no batteries to read; the emulated laptop has two supplies, read every 2 s.",
    ]
    return "\n".join(rows)


def _native_idle(way: str, seconds: float) -> float:
    """What a watch of this machine takes once it has begun."""
    command = [sys.executable, "-m", "usbwatch", "watch", "--json", "--no-record", "--source", way]
    command += ["--profile", "generic-clamshell"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL) as run:
        assert run.stdout is not None
        run.stdout.readline()
        time.sleep(3)
        stat = Path(f"/proc/{run.pid}/stat")
        before, began = processor_ticks(stat.read_text()), time.monotonic()
        time.sleep(seconds)
        percent = processor_percent(processor_ticks(stat.read_text()) - before, time.monotonic() - began)
        run.terminate()
    return percent


if __name__ == "__main__":
    sys.exit(main())
