"""The simulator of the bench, end to end on a few units, so that it cannot rot between full runs."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from benchmarks.bench_simulator.anatomy import Anatomy
from benchmarks.bench_simulator.engine import Engine
from benchmarks.bench_simulator.layouts import LAYOUTS, Layout
from benchmarks.bench_simulator.policies import OURS, POLICIES
from benchmarks.bench_simulator.reduced import drawn, followed, optimum
from benchmarks.bench_simulator.report import bars, first_ranking, policies
from benchmarks.bench_simulator.scoring import Scores, bins, calibration_error, played
from benchmarks.bench_simulator.tables import World, matched, shifted, wrong_priors
from benchmarks.bench_simulator.unit import draw

UNITS = range(5)
LAYOUT = LAYOUTS["gauge-direct"]


def engine_for(layout: Layout) -> Engine:
    carriers = Anatomy.of(layout.profile, layout.often_unseen, matched(), 1).carriers
    return Engine(profile=layout.profile, carriers=carriers)


@pytest.fixture(scope="module")
def scores() -> Scores:
    return played(LAYOUT, matched(), UNITS, 1, engine_for(LAYOUT))


def test_every_policy_repairs_every_unit_or_gives_it_up(scores: Scores) -> None:
    assert set(scores.results) == set(POLICIES)
    for results in scores.results.values():
        assert len(results) == len(UNITS)
        assert all(each.steps > 0 or each.given_up for each in results)
        assert all(each.wrong_parts <= each.bought for each in results)


def test_the_same_seed_gives_the_same_units_and_the_same_costs(scores: Scores) -> None:
    again = played(LAYOUT, matched(), UNITS, 1, engine_for(LAYOUT))
    assert again == scores


def test_a_unit_on_the_bench_shows_something_wrong_and_has_a_fault() -> None:
    for layout in LAYOUTS.values():
        anatomy = Anatomy.of(layout.profile, layout.often_unseen, matched(), 1)
        for number in range(20):
            unit = draw(anatomy, f"{number}")
            assert unit.faults
            assert set(unit.first.values()) - {"works", "unseen", "behind"}


def test_the_tables_say_what_was_computed(scores: Scores) -> None:
    told = {LAYOUT.profile.id: scores}
    mean = sum(each.total for each in scores.results[OURS]) / len(UNITS)
    assert any(line.startswith(f"| {OURS} | {mean:.1f} ±") for line in policies(told))
    assert next(line for line in bars(told, 1.02) if "the optimum" in line).endswith("| 1.0200 | not met |")
    assert next(line for line in bars(told, 1.001) if "the optimum" in line).endswith("| 1.0010 | met |")
    assert any(line.startswith("| all |") for line in first_ranking(told))


def test_calibration_is_the_weighted_gap_of_said_and_so() -> None:
    claims = [(0.95, True), (0.95, False), (0.25, False), (0.25, True)]
    assert bins(claims)[9] == pytest.approx((0.95, 0.5, 2))
    assert calibration_error(claims) == pytest.approx((0.45 + 0.25) / 2)


@pytest.mark.parametrize("number", [0, 5])
def test_no_policy_beats_the_optimum_of_a_small_problem(number: int) -> None:
    small = drawn(number)
    best = optimum(small)
    costs = {policy: followed(small, POLICIES[policy]) for policy in list(POLICIES)[:4]}
    assert min(costs.values()) >= best - 1e-9
    assert costs[OURS] <= 1.05 * best


@pytest.mark.parametrize("world", [matched(), wrong_priors(), shifted(1)], ids=lambda world: world.name)
def test_what_a_fault_shows_adds_to_one(world: World) -> None:
    for shape in world.shapes:
        for function in ("", "battery", "keyboard"):
            assert sum(world.chances(shape, function)) == pytest.approx(1)


@pytest.mark.parametrize("module", ["anatomy", "tables", "unit"])
def test_the_truth_is_drawn_without_the_engine(module: str) -> None:
    path = Path(__file__).parents[2] / "benchmarks" / "bench_simulator" / f"{module}.py"
    imports = [node for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.ImportFrom)]
    ours = {node.module for node in imports if (node.module or "").startswith("usbwatch")}
    assert ours <= {"usbwatch.model"}
    assert imports
