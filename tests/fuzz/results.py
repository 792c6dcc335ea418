"""The table of ``RESULTS.md``, from the figures of runs: ``PYTHONPATH=tests python -m fuzz.results RUNS.jsonl…``."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

__all__ = ["table"]

_HEAD = "| target | minutes | processor minutes, where measured | executions | edges at the start | edges at the end |"


def table(runs: Iterable[dict[str, Any]]) -> str:
    """A row for each target, over all its runs, and their sum. Not every run measured its processor time."""
    by_target: dict[str, list[dict[str, Any]]] = {}
    for one in runs:
        if one["executions"] and one["edges"]:
            by_target.setdefault(one["target"], []).append(one)
    rows = [_row(name, told) for name, told in by_target.items()]
    every = [one for told in by_target.values() for one in told]
    return "\n".join([_HEAD, "| --- |" + " ---: |" * 5, *rows, _row("**all**", every, edges=False)]) + "\n"


def _row(name: str, told: Sequence[dict[str, Any]], *, edges: bool = True) -> str:
    minutes = sum(one["seconds"] for one in told) / 60
    worked = [one["processor_s"] for one in told if "processor_s" in one]
    executions = sum(one["executions"] for one in told)
    grown = (str(told[0]["edges_at_start"]), str(max(one["edges"] for one in told))) if edges else ("", "")
    processor = f"{sum(worked) / 60:.1f}" if worked else ""
    return f"| {name} | {minutes:.1f} | {processor} | {executions:,} | {grown[0]} | {grown[1]} |"


if __name__ == "__main__":
    lines = [line for path in sys.argv[1:] for line in Path(path).read_text("utf-8").splitlines()]
    print(table(json.loads(line) for line in lines), end="")
