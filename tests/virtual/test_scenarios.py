"""Both laptops, started once, healthy; then one thing after another is done to them while they run, and undone.

What the kernel makes of it is captured in the guest by the real program, which
mostly watches meanwhile; what the program then says of the capture must be
what is true: every verdict, the likeliest part and what cannot be it, the next
step, the report, and what changed since the laptop was healthy.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from virtual.laptop import Laptop
from virtual.program import Judge, captured, forget, sh, standing
from virtual.scenarios import HIDDEN, PROFILES, ROWS, Row
from virtual.watched import Run, watching

from usbwatch.profile import find

pytestmark = pytest.mark.virtual

IN_GUEST = {
    "Larch 13": "fernhill-larch-13",
    "Heron 14 E": "/opt/usbwatch/emulated/brackwell-heron-14e.toml",
}
# What enumeration proves of no healthy laptop: firmware declares these two whatever hangs on their lines, and the
# kernel asks no keyboard of a laptop on PS/2 (drivers/input/keyboard/atkbd.c).
UNPROVEN = {
    "Larch 13": dict.fromkeys(("lid", "power-button"), ("present", "not observed")),
    "Heron 14 E": dict.fromkeys(("lid", "power-button"), ("present", "not observed"))
    | {"keyboard": ("unseen", "not observed")},
}
WELL = {"Larch 13": 0, "Heron 14 E": 11}
"""The exit code of a check of a healthy one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Healthy:
    """A laptop that is healthy between tests."""

    laptop: Laptop
    capture: Path
    standing: str


@pytest.fixture(scope="module")
def healthy(request: pytest.FixtureRequest, work: Path) -> dict[str, Healthy]:
    """By layout, each once it is asked for."""
    found: dict[str, Healthy] = {}

    class OnDemand(dict[str, Healthy]):
        def __missing__(self, layout: str) -> Healthy:
            laptop = request.getfixturevalue({"Larch 13": "healthy_laptop", "Heron 14 E": "healthy_heron"}[layout])
            path = captured(laptop, work / f"{layout}.json")
            self[layout] = Healthy(laptop=laptop, capture=path, standing=standing(laptop))
            return self[layout]

    return OnDemand(found)


@pytest.fixture
def told(healthy: dict[str, Healthy], row: Row, tmp_path: Path) -> Iterator[tuple[Path, Run | None]]:
    """The capture that was taken when the row's deed was done, and the watch that ran meanwhile."""
    one = healthy[row.layout]
    run: Run | None = None
    path = tmp_path / "capture.json"
    try:
        if row.watched is None:
            row.deed(one.laptop)
            captured(one.laptop, path)
        else:
            with watching(one.laptop, f"--profile {IN_GUEST[row.layout]}") as run:
                row.deed(one.laptop)
                sh(one.laptop, "usleep 1500000")
            path.write_bytes(run.kept)
        yield path, run
    finally:
        row.undo(one.laptop)
        as_before(one)


def as_before(one: Healthy) -> None:
    """Wait until the laptop is as it was when it was healthy, and its log tells of nothing."""
    for _ in range(10):
        sh(one.laptop, "settle 15 12")
        found = standing(one.laptop)
        if found == one.standing:
            break
    assert found == one.standing
    forget(one.laptop)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.layout}: {row.name}")
def test_what_is_told_is_what_was_done(
    row: Row, told: tuple[Path, Run | None], healthy: dict[str, Healthy], capsys: pytest.CaptureFixture[str]
) -> None:
    path, run = told
    judge = Judge(capsys, PROFILES[row.layout])
    code = 10 if row.untrue else WELL[row.layout]
    document = judge.document("localise", path, code=code)
    assert_verdicts(row, document)
    assert_localised(row, document)
    if run is not None:
        assert row.watched is not None
        assert sorted(each_told(run)) == sorted((change, one) for change, devices in row.watched for one in devices)
    assert_changed(row, healthy[row.layout].capture, path, judge)
    words = " ".join(judge.report(path, "text", code=code).split())
    for said in row.says:
        assert said in words


def each_told(run: Run) -> list[tuple[str, str]]:
    """What a watch told of each device: what happens in the same moment is one incident."""
    return [(one["change"], device["id"]) for one in run.incidents for device in one["devices"]]


def assert_verdicts(row: Row, document: dict[str, Any]) -> None:
    """Every expected device, what is external, and nothing else."""
    found = {one["device"]: (one["verdict"], one["symptom"]) for one in document["findings"]}
    expected = [one.id for one in find(str(PROFILES[row.layout])).devices]
    well = dict.fromkeys(expected, ("present", "working")) | UNPROVEN[row.layout]
    assert found == well | dict(row.untrue)
    assert document["outcome"] == ("wrong" if row.untrue else "whole" if not WELL[row.layout] else "not all seen")
    assert tuple((one["identity"], one["location"]) for one in document["external"]) == row.external
    assert document["unexpected"] == []


def assert_localised(row: Row, document: dict[str, Any]) -> None:
    """The likeliest part is one that could have done it; what is cleared explains nothing."""
    lost = {device for device, said in row.untrue.items() if said != HIDDEN}
    suspects = document["suspects"]["parts"]
    if row.parts:
        assert suspects[0]["part"] in row.parts
        assert set(suspects[0]["explains"]) & lost
    explaining = {one["part"] for one in suspects if set(one["explains"]) & lost}
    assert explaining & row.cleared == set()
    proposed = document["plan"]["proposals"]
    assert bool(proposed) == bool(row.parts)
    assert all(proposed[0]["expected_total"] <= one["expected_total"] for one in proposed)
    assert not row.steps or row.steps & {one["id"] for one in proposed}


def assert_changed(row: Row, before: Path, after: Path, judge: Judge) -> None:
    """What changed since the laptop was healthy, and is no consequence of another change."""
    if row.changed:
        document = judge.document("diff", before, after, code=10)
        causes = {
            (one["kind"], (one["before"] or one["after"])["location"])
            for one in document["nodes"]
            if not one["follows"]
        }
        assert causes == row.changed
