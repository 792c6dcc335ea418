"""Whole runs of programs: their processor time, their time on the clock, what they write, the memory they take."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Run", "median_cpu_ms", "ran", "usbwatch"]

ROOT = Path(__file__).resolve().parents[2]
PIECE = 1 << 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What one run took."""

    cpu_s: float
    """Of the process and of all that it started."""
    wall_s: float
    first_s: float
    """Until the first byte of output."""
    peak_kb: int
    """Of its largest process."""
    written: int
    """Bytes."""


def usbwatch(*arguments: str) -> list[str]:
    """The program as this interpreter runs it."""
    return [sys.executable, "-m", "usbwatch", *arguments]


def ran(command: Sequence[str], *, cores: int | None = None) -> Run:
    """One run, on so many cores or on all; its output is read and counted. Raises ``OSError`` where it cannot start."""
    begun = time.monotonic()
    first, written = 0.0, 0
    with _on(cores):
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=_environment())
    assert process.stdout is not None
    while piece := os.read(process.stdout.fileno(), PIECE):
        first = first or time.monotonic() - begun
        written += len(piece)
    process.stdout.close()
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode in (1, 2) or process.returncode < 0:
        raise RuntimeError(f"{' '.join(command[:5])} ended with {process.returncode}")
    return Run(
        cpu_s=used.ru_utime + used.ru_stime,
        wall_s=time.monotonic() - begun,
        first_s=first,
        peak_kb=used.ru_maxrss,
        written=written,
    )


def median_cpu_ms(commands: Mapping[str, Sequence[str]], rounds: int) -> dict[str, float]:
    """Median CPU milliseconds of each program; they take turns, each run once before it is measured."""
    taken: dict[str, list[float]] = {name: [] for name in commands}
    for turn in range(rounds + 1):
        for name, command in commands.items():
            cpu_s = ran(command).cpu_s
            if turn:
                taken[name].append(cpu_s)
    return {name: 1000 * statistics.median(each) for name, each in taken.items()}


def _environment() -> dict[str, str]:
    """Ours, with compiled modules kept as an installation has them, and without anybody's casebook or profiles."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("USBWATCH", "PYTHONDONTWRITE"))}
    nobody = str(ROOT / "build" / "nobody")
    return kept | {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")]), "XDG_DATA_HOME": nobody}


@contextmanager
def _on(cores: int | None) -> Iterator[None]:
    """A process begun within inherits so many of the cores that this one may use."""
    if cores is None:
        yield
        return
    ours = os.sched_getaffinity(0)
    os.sched_setaffinity(0, sorted(ours)[:cores])
    try:
        yield
    finally:
        os.sched_setaffinity(0, ours)
