"""Checks of many captures: one core against all, few against many."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from benchmarks.table.programs import ROOT, ran, usbwatch
from benchmarks.table.row import Row
from usbwatch.capture import load, to_json
from usbwatch.cli.cores import usable_cores

__all__ = ["rows", "written"]

WHOLE = ("larch-13-healthy", "heron-14-healthy", "plover-12-healthy", "larch-13-repaired")
FAULTY = ("larch-13-top-case-lost", "heron-14-touchpad-silent")


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
    """So many captures of invented units: the demo's, four in five of them whole, each with its own serial number."""
    demo = [load(str(ROOT / "captures" / f"{name}.json")) for name in (*WHOLE, *WHOLE, *FAULTY)]
    paths = []
    for number in range(count):
        capture = demo[number % len(demo)]
        unit = replace(capture.unit, product_serial=f"LG-{number:05}-DEMO")
        path = folder / f"{number:05}.json"
        path.write_text(to_json(replace(capture, unit=unit)), encoding="utf-8")
        paths.append(str(path))
    return paths
