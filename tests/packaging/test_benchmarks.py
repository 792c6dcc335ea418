"""The one command of the benchmarks measures every row. What it measures is not looked at: that is for people."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from support.needs import needed_library

from benchmarks.table.row import HEAD, Row

ROOT = Path(__file__).parents[2]

JOBS = (
    "usbwatch --help",
    "usbwatch check CAPTURE, a healthy unit, all of it",
    "usbwatch check CAPTURE, a unit at fault, all of it",
    "capture of a copied tree",
    "capture of this machine",
    "capture through libusb",
    "compare a capture with its profile",
    "compare, localise and plan",
    "diff of two captures",
    "localise: all marginals, exact",
    "report as HTML",
    "check of 4 captures",
    "check of 8 captures",
)


def test_its_small_form_gives_every_row(tmp_path: Path) -> None:
    needed_library("gomp", "libgomp1")  # pyAgrum is linked to it
    page = tmp_path / "RESULTS.md"
    command = [sys.executable, "-m", "benchmarks", "--small", "--write", str(page)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() in page.read_text("utf-8")
    assert done.stdout.startswith(HEAD)
    for job in JOBS:
        assert f"| {job}" in done.stdout


def test_a_row_says_the_ratio_and_whether_its_bars_are_met() -> None:
    row = Row(job="a", ours=310.0, peer="b", peers=200.0, bar=1.6, most=300.0)
    wanted = "at most 1.6 is wanted: met; at most 300 ms CPU is wanted: not met"
    assert str(row) == f"| a | 310 ms CPU | b | 200 ms CPU | 1.55 | {wanted} |"


def test_the_measured_page_has_the_rows_that_are_measured_now() -> None:
    page = (ROOT / "benchmarks" / "RESULTS.md").read_text("utf-8")
    assert HEAD in page
    for job in JOBS[:-2]:
        assert f"| {job} |" in page
