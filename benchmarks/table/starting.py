"""Whole runs of the command, each in a fresh interpreter: start-up, and the check of one capture."""

from __future__ import annotations

import sys
from collections.abc import Iterator

from benchmarks.table.judging import PAIR
from benchmarks.table.programs import ROOT, median_cpu_ms, usbwatch
from benchmarks.table.row import Row

__all__ = ["rows"]

START_UP_BAR = 1.6
CHECK_BAR_MS = 300.0
_DEEPDIFF = """
import json, sys
from deepdiff import DeepDiff
print(DeepDiff(*(json.load(open(name)) for name in sys.argv[1:])))
"""


def rows(rounds: int) -> Iterator[Row]:
    """``--help``, and ``check`` of a capture with its profile."""
    healthy, lost = (str(ROOT / "captures" / name) for name in PAIR)
    cost = median_cpu_ms(
        {
            "help": usbwatch("--help"),
            "click": [sys.executable, "-c", "import click"],
            "a unit at fault": usbwatch("check", lost),
            "a healthy unit": usbwatch("check", healthy),
            "deepdiff": [sys.executable, "-c", _DEEPDIFF, healthy, lost],
        },
        rounds,
    )
    yield Row(
        job="usbwatch --help", ours=cost["help"], peer='python -c "import click"', peers=cost["click"], bar=START_UP_BAR
    )
    for unit in ("a healthy unit", "a unit at fault"):
        yield Row(
            job=f"usbwatch check CAPTURE, {unit}, all of it",
            ours=cost[unit],
            peer="a process that prints deepdiff's result of two captures",
            peers=cost["deepdiff"],
            most=CHECK_BAR_MS,
        )
