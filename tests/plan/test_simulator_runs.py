"""The simulator of the bench, end to end on a few units, so that it cannot rot between full runs."""

from __future__ import annotations

import ast
from dataclasses import replace
from math import inf
from pathlib import Path

import pytest

from benchmarks.bench_simulator.anatomy import Anatomy
from benchmarks.bench_simulator.engine import Engine
from benchmarks.bench_simulator.layouts import LAYOUTS, Layout
from benchmarks.bench_simulator.policies import OURS, POLICIES, SWAP_LIKELIEST
from benchmarks.bench_simulator.reduced import drawn, followed, optimum
from benchmarks.bench_simulator.report import OPTIMUM, PROBLEMS, bar_table, bars, costs, optimum_bar, rankings
from benchmarks.bench_simulator.results import MadeByOtherCode, Results, Run, pieces
from benchmarks.bench_simulator.run import report, work
from benchmarks.bench_simulator.scoring import Claim, Scores, bins, calibration_error, played
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
    assert any(line.startswith(f"| {OURS} | {mean:.1f} ±") for line in costs(told))
    assert any(line.startswith("| all |") for line in rankings(told))


def test_a_bar_is_met_or_not_by_what_was_reached(scores: Scores) -> None:
    for ratio, words in ((1.02, "1.0200 times the optimum | not met"), (1.001, "1.0010 times the optimum | met")):
        line = list(bar_table([optimum_bar({OURS: 100 * ratio, OPTIMUM: 100, PROBLEMS: 7})]))[-1]
        assert line == f"| within 1 % of the optimum on 7 small problems | {words} |"
    told = Scores(
        results=scores.results, told=scores.told, first=[Claim(0.99, so=False, unit=str(n)) for n in range(9)]
    )
    found = {each.words: each.met for each in bars({LAYOUT.profile.id: told}, priors_right=True)}
    assert not found["calibration error of the first suspect at most 0.03"]
    assert not found["after steps, no well-filled tenth off by more than 0.08 (part)"]  # nothing was played that long


def test_ours_is_worse_only_where_every_unit_of_the_interval_says_so(scores: Scores) -> None:
    def against(other: list[float]) -> bool:
        results = {
            OURS: [replace(scores.results[OURS][0], total=100.0 + n) for n in range(len(other))],
            SWAP_LIKELIEST: [replace(scores.results[OURS][0], total=each) for each in other],
        }
        return next(bars({"one": Scores(results=results, told=other)}, priors_right=False)).met

    assert against([90.0, 130.0, 95.0, 105.0])  # dearer and cheaper by turns
    assert not against([90.0, 91.5, 92.0, 93.5])  # about 9.75 cheaper than ours each time


def test_calibration_is_the_weighted_gap_of_said_and_so() -> None:
    claims = [Claim(0.95, so=True, unit="a"), Claim(0.95, so=False, unit="b")]
    claims += [Claim(0.25, so=False, unit="a"), Claim(0.25, so=True, unit="b")]
    low, high = bins(claims)
    assert (high.tenth, high.said, high.so, high.cases, high.units) == pytest.approx((9, 0.95, 0.5, 2, 2))
    assert low.off == pytest.approx(0.25)
    assert calibration_error(claims) == pytest.approx((0.45 + 0.25) / 2)


def test_the_interval_of_a_tenth_takes_a_unit_as_one_draw() -> None:
    # Cochran, Sampling Techniques, 3rd ed., ratio of cluster totals: equal claims about one unit narrow nothing.
    once = [Claim(0.5, so=number % 2 == 0, unit=str(number)) for number in range(40)]
    assert bins(once * 5)[0].half == pytest.approx(bins(once)[0].half)
    apart = [Claim(0.5, so=number % 2 == 0, unit=str(number)) for number in range(200)]
    assert bins(apart)[0].half == pytest.approx(bins(once)[0].half / 5**0.5)


RUN = Run(layouts=(LAYOUT.profile.id,), worlds=("matched",), units=3, problems=1)


def test_a_run_that_was_stopped_goes_on_where_it_was(tmp_path: Path) -> None:
    results = Results.of(tmp_path)
    small, units = pieces(RUN)
    assert work(results, small, inf)
    assert not work(results, units, 0)  # no time left
    assert [results.has(each) for each in (small, units)] == [True, False]
    assert "# Bench simulator: 1 of 2 pieces, seed 1\n" in report(results, RUN)
    assert work(results, units, inf)
    found = results.scores("matched", [small, units])
    assert found == {LAYOUT.profile.id: played(LAYOUT, matched(), range(3), 1, engine_for(LAYOUT))}
    assert any(
        line.startswith(f"#### {LAYOUT.profile.id} (3 units") for line in "\n".join(report(results, RUN)).splitlines()
    )


def test_results_of_other_code_are_refused(tmp_path: Path) -> None:
    small, _ = pieces(RUN)
    Results(tmp_path, "another state").write(small, {OURS: 1.0, OPTIMUM: 1.0, PROBLEMS: 1.0}, 1.0)
    with pytest.raises(MadeByOtherCode, match=r"small-problems.* was made by another state of the code"):
        Results.of(tmp_path).has(small)


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
