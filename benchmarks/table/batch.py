"""Checks of many captures: one core against all, few against many."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

from benchmarks.casebook.content import capture_paper, templates
from benchmarks.table.programs import ran, usbwatch
from benchmarks.table.row import Row
from usbwatch.capture.saved import saved_of_content
from usbwatch.cli.cores import usable_cores

__all__ = ["rows", "written"]


def rows(folder: Path, few: int, many: int) -> Iterator[Row]:
    """``check FILES --json`` of so many captures of invented units, no two alike; they are written to ``folder``."""
    paths = written(folder, many)
    cores = usable_cores()
    one, all_ = ran(_command(paths[:few]), cores=1), ran(_command(paths[:few]))
    large = ran(_command(paths))
    yield Row(
        job=f"check of {few} captures, all {cores} cores: time for each",
        ours=1000 * all_.wall_s / few,
        peer="the same on one core",
        peers=1000 * one.wall_s / few,
        unit="ms",
        note=f"at best {1 / cores:.2f}",
    )
    growth = (
        ("processor time for each", "ms CPU", 1000 * all_.cpu_s / few, 1000 * large.cpu_s / many),
        ("time for each", "ms", 1000 * all_.wall_s / few, 1000 * large.wall_s / many),
        ("until the first output", "s", all_.first_s, large.first_s),
        ("memory of the largest process", "MB", all_.peak_kb / 1000, large.peak_kb / 1000),
    )
    for what, unit, of_few, of_many in growth:
        yield Row(job=f"check of {many} captures: {what}", ours=of_many, peer=f"of {few}", peers=of_few, unit=unit)


def _command(paths: list[str]) -> list[str]:
    return usbwatch("check", *paths, "--json")


def written(folder: Path, count: int) -> list[str]:
    """So many captures of invented units of the demo's models, most with a device taken out, no two alike."""
    draw = random.Random(1)
    made = templates()
    paths = []
    for number in range(count):
        paper = capture_paper(made[number % len(made)], number, 0, draw)
        path = folder / f"{number:06}.json"
        path.write_text(saved_of_content(paper.content, path.name).text, encoding="utf-8")
        paths.append(str(path))
    return paths
