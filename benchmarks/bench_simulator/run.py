"""Plays policies on invented units and prints what they cost, and how far the probabilities hold.

Run from the folder of the repository: ``python -m benchmarks.bench_simulator [--units N] [--seed N] [--jobs N]``.
Prints Markdown. Every figure of the units, prices and priors is invented or elicited.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections.abc import Iterator, Sequence

from benchmarks.bench_simulator.anatomy import Anatomy
from benchmarks.bench_simulator.engine import Engine
from benchmarks.bench_simulator.layouts import LAYOUTS
from benchmarks.bench_simulator.policies import GUIDED, OURS, POLICIES
from benchmarks.bench_simulator.reduced import drawn, followed, optimum
from benchmarks.bench_simulator.report import bars, first_ranking, policies, reduced_table
from benchmarks.bench_simulator.scoring import Scores, played
from benchmarks.bench_simulator.tables import World, matched, shifted, wrong_priors

__all__ = ["main"]

_CHUNK = 50

Task = tuple[str, str, int, int, int]
"""Layout, world, first unit, last unit and one, seed."""

_engines: dict[str, Engine] = {}


def _world(name: str, seed: int) -> World:
    if name == "shifted":
        return shifted(seed)
    return wrong_priors() if name == "wrong-priors" else matched()


def _work(task: Task) -> tuple[Task, Scores]:
    layout_id, world, first, last, seed = task
    layout = LAYOUTS[layout_id]
    if layout_id not in _engines:
        carriers = Anatomy.of(layout.profile, layout.often_unseen, matched(), seed).carriers
        _engines[layout_id] = Engine(profile=layout.profile, carriers=carriers)
    engine = _engines[layout_id]
    scores = played(layout, _world(world, seed), range(first, last), seed, engine)
    engine.forget()
    return task, scores


def _small(seed: int) -> tuple[float, dict[str, float]]:
    small = drawn(seed)
    return optimum(small), {policy: followed(small, POLICIES[policy]) for policy in GUIDED}


def main(arguments: Sequence[str] | None = None) -> None:
    """Run what the command line asks for and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--units", type=int, default=2000, help="units per layout and world")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--layouts", nargs="*", choices=tuple(LAYOUTS), default=list(LAYOUTS))
    parser.add_argument(
        "--worlds", nargs="*", choices=("matched", "wrong-priors", "shifted"), default=["matched", "wrong-priors"]
    )
    parser.add_argument("--problems", type=int, default=60, help="small problems that are solved to the optimum")
    options = parser.parse_args(arguments)
    begun = time.monotonic()
    with multiprocessing.get_context("spawn").Pool(options.jobs) as pool:
        small = pool.map(_small, range(options.problems))
        best = sum(each for each, _ in small)
        costs = {policy: sum(each[policy] for _, each in small) for policy in GUIDED}
        _say(f"\n## Small problems ({len(small)})", *reduced_table(costs, best))
        for world in options.worlds:
            tasks = [
                (layout, world, first, min(options.units, first + _CHUNK), options.seed)
                for layout in options.layouts
                for first in range(0, options.units, _CHUNK)
            ]
            scores: dict[str, Scores] = {}
            for done, (task, own) in enumerate(pool.imap(_work, tasks), 1):
                scores.setdefault(task[0], Scores()).add(own)
                print(f"\r{world}: {done} of {len(tasks)}", end="", file=sys.stderr, flush=True)
            _say(*_report(world, scores, costs[OURS] / best if best else float("inf")))
    _say(f"\n{time.monotonic() - begun:.0f} seconds with {options.jobs} processes.")


def _say(*lines: str) -> None:
    print("\n".join(lines), flush=True)


def _report(world: str, scores: dict[str, Scores], ratio_to_optimum: float) -> Iterator[str]:
    yield f"\n## World: {world}"
    if world == "matched":
        yield "\n### Bars"
        yield from bars(scores, ratio_to_optimum)
    yield "\n### Costs"
    yield from policies(scores)
    yield "\n### Rankings and probabilities"
    yield from first_ranking(scores)


if __name__ == "__main__":
    main()
