"""Many processes that write to one book at the same time, and what the book has of it afterwards.

Run: ``python -m benchmarks.casebook.writers --address PATH-OR-URL [--writers 8] [--seconds 300] [--one-unit]``.
Ends with 1 where an acknowledged entry is lost, there twice or changed, or where a write was refused.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.casebook.checking import acknowledged, faults
from usbwatch.casebook import open_book

__all__ = ["ROOT", "main", "run", "started"]

ROOT = Path(__file__).parents[2]


def started(address: str, log: Path, seconds: float, seed: int, *more: str) -> subprocess.Popen[str]:
    """A writer; it says ``ready`` just before it opens the book."""
    module = [sys.executable, "-m", "benchmarks.casebook.writer"]
    return subprocess.Popen(
        [*module, address, str(log), str(seconds), str(seed), *more],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def run(address: str, folder: Path, *, writers: int, seconds: float, one_unit: bool = False) -> list[str]:
    """Let them write, print the figures, and give what is wrong: [] for a book that has kept its word."""
    more = ["--unit", "LB-0001"] if one_unit else []
    logs = [folder / f"writer-{seed}.log" for seed in range(1, writers + 1)]
    processes = [started(address, log, seconds, seed, *more) for seed, log in enumerate(logs, 1)]
    wrong = []
    for seed, process in enumerate(processes, 1):
        _, said = process.communicate()
        if process.returncode:
            wrong.append(f"writer {seed} ended with {process.returncode}: {said.strip().splitlines()[-1:]}")
    told = acknowledged(log for log in logs if log.exists())
    book = open_book(address)
    wrong += [f"refused: {error}" for error in told.errors] + faults(book, told)
    print(f"{book.name}: {writers} writers, {seconds:g} s{', all to one unit' if one_unit else ''}")
    book.close()
    latencies = sorted(told.latencies_us)
    count = len(latencies)
    if count:
        p50, p99, most = (latencies[min(count - 1, int(count * share))] / 1000 for share in (0.5, 0.99, 1))
        print(f"  {count} acknowledged writes, {len(told.entries)} entries, {len(told.documents)} documents")
        print(f"  {count / seconds:.0f} writes/s; acknowledged after p50 {p50:.1f}, p99 {p99:.1f}, max {most:.1f} ms")
    print(f"  {len(told.errors)} refused; {len(wrong)} faults")
    return wrong if count else [*wrong, "nothing was acknowledged"]


def main() -> None:
    """Run, and end with 1 for a fault."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--address", required=True)
    parser.add_argument("--writers", type=int, default=8)
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--one-unit", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        wrong = run(asked.address, Path(folder), writers=asked.writers, seconds=asked.seconds, one_unit=asked.one_unit)
    for line in wrong[:20]:
        print(line)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
