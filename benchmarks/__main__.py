"""What the program costs, as one table of ratios to named peers of the same run.

Run: ``python -m benchmarks``, some twenty minutes on two cores, most of them for the 11,000 checks of the last rows;
``--small`` is a minute, and says nothing but that all rows can be measured. ``--write FILE`` writes the table with
the date, the Python and the state of the machine: ``benchmarks/RESULTS.md`` is made so. The peers take turns with
ours, round by round, so that a busy machine slows all alike; CPU times are medians. The peers are development
dependencies.
"""

from __future__ import annotations

import argparse
import os
import platform
import tarfile
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from benchmarks.table import batch, judging, looking, starting
from benchmarks.table.programs import ROOT
from benchmarks.table.row import HEAD, Row, table
from usbwatch.cli.cores import usable_cores

__all__: list[str] = []

TREE = ROOT / "tests" / "data" / "trees" / "healthy.tar.xz"
FEW, MANY, ROUNDS = 1_000, 10_000, 21
SMALL_FEW, SMALL_MANY, SMALL_ROUNDS = 4, 8, 1


def main() -> None:
    """Print the table, row by row, and write it where that is asked for."""
    asked = _asked()
    load = os.getloadavg()[0]
    print(HEAD, flush=True)
    rows = []
    with tempfile.TemporaryDirectory() as scratch:
        for row in _rows(Path(scratch), asked):
            print(row, flush=True)
            rows.append(row)
    if asked.write:
        asked.write.write_text(_page(rows, load), encoding="utf-8")


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description="One table of ratios to named peers.")
    parser.add_argument("--small", action="store_true", help="every row once, with few captures")
    parser.add_argument(
        "--captures",
        type=int,
        nargs=2,
        default=(FEW, MANY),
        metavar=("FEW", "MANY"),
        help="how many are checked in one run",
    )
    parser.add_argument("--tree", help="a copied tree to capture; not given: one of a healthy laptop of the tests'")
    parser.add_argument("--write", type=Path, metavar="FILE", help="write the table here, too")
    return parser.parse_args()


def _rows(scratch: Path, asked: argparse.Namespace) -> Iterator[Row]:
    rounds = SMALL_ROUNDS if asked.small else ROUNDS
    yield from starting.rows(rounds)
    yield from looking.rows(asked.tree.rstrip("/") if asked.tree else _unpacked(scratch), rounds)
    yield from judging.rows(rounds)
    folder = scratch / "captures"
    folder.mkdir()
    yield from batch.rows(folder, *((SMALL_FEW, SMALL_MANY) if asked.small else asked.captures))


def _unpacked(scratch: Path) -> str:
    with tarfile.open(TREE) as archive:
        if hasattr(tarfile, "tar_filter"):  # Python 3.11.4 and later
            archive.extraction_filter = tarfile.tar_filter
        archive.extractall(scratch / "tree")
    return str(scratch / "tree" / "healthy")


def _page(rows: list[Row], load: float) -> str:
    cores = usable_cores()
    after = os.getloadavg()[0]
    busy = "The machine was busy with other work" if load > cores / 2 else "The machine was idle before"
    return f"""# Measured

`python -m benchmarks`, {datetime.now(UTC):%Y-%m-%d}, {platform.python_implementation()} {platform.python_version()},
{platform.system()}, {cores} cores. {busy}: load {load:.1f} at the start, {after:.1f} at the end. Peers
took turns with ours in the same run.

{table(rows)}
"""


if __name__ == "__main__":
    main()
