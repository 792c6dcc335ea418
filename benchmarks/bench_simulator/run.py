"""Plays policies on invented units and prints what they cost, and how far the probabilities hold.

Run from the folder of the repository::

    python -m benchmarks.bench_simulator --results FOLDER [--units N] [--worlds W ...] [--jobs N] [--minutes N]
    python -m benchmarks.bench_simulator --results FOLDER [--units N] [--worlds W ...] --only-report

The first leaves one file per piece in the folder, and plays only what is not
there yet: it can be stopped at any time and started again. Both print a
report, as Markdown, of all that is there. Every figure of the units, prices
and priors is invented or elicited.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from benchmarks.bench_simulator.anatomy import Anatomy
from benchmarks.bench_simulator.engine import Engine
from benchmarks.bench_simulator.layouts import LAYOUTS
from benchmarks.bench_simulator.policies import GUIDED, POLICIES
from benchmarks.bench_simulator.reduced import drawn, followed, optimum
from benchmarks.bench_simulator.report import (
    OPTIMUM,
    PROBLEMS,
    bar_table,
    bars,
    costs,
    optimum_bar,
    rankings,
    reduced_table,
)
from benchmarks.bench_simulator.results import SMALL, MadeByOtherCode, Piece, Results, Run, pieces
from benchmarks.bench_simulator.scoring import Scores, played
from benchmarks.bench_simulator.tables import World, matched, shifted, wrong_priors

__all__ = ["main", "report", "work"]

_MATCHED, _WRONG_PRIORS, _SHIFTED = "matched", "wrong-priors", "shifted"
WORLDS = (_MATCHED, _WRONG_PRIORS, _SHIFTED)

_engines: dict[str, Engine] = {}


def _world(name: str, seed: int) -> World:
    if name == _SHIFTED:
        return shifted(seed)
    return wrong_priors() if name == _WRONG_PRIORS else matched()


def work(results: Results, piece: Piece, end: float) -> bool:
    """Play one piece and keep what it came to; not after ``end``, in seconds of the wall clock. Whether it was."""
    if time.time() >= end:
        return False
    begun = time.process_time()
    told = _small(piece) if piece.world == SMALL else _played(piece)
    results.write(piece, told, time.process_time() - begun)
    return True


def _played(piece: Piece) -> Scores:
    layout = LAYOUTS[piece.layout]
    if piece.layout not in _engines:
        carriers = Anatomy.of(layout.profile, layout.often_unseen, matched(), piece.seed).carriers
        _engines[piece.layout] = Engine(profile=layout.profile, carriers=carriers)
    engine = _engines[piece.layout]
    scores = played(layout, _world(piece.world, piece.seed), range(piece.first, piece.last), piece.seed, engine)
    engine.forget()
    return scores


def _small(piece: Piece) -> dict[str, float]:
    problems = [drawn(number) for number in range(piece.first, piece.last)]
    found = {policy: sum(followed(each, POLICIES[policy]) for each in problems) for policy in GUIDED}
    return found | {OPTIMUM: sum(map(optimum, problems)), PROBLEMS: float(len(problems))}


def main(arguments: Sequence[str] | None = None) -> None:
    """Run what the command line asks for and print the report."""
    options = _options(arguments)
    run = Run(
        layouts=tuple(options.layouts),
        worlds=tuple(options.worlds),
        units=options.units,
        problems=options.problems,
        seed=options.seed,
    )
    with tempfile.TemporaryDirectory() as passing:
        results = Results.of(options.results or Path(passing))
        try:
            if not options.only_report:
                _play(results, run, options.jobs, options.minutes)
            print("\n".join(report(results, run)), flush=True)
        except MadeByOtherCode as refused:
            sys.exit(str(refused))


def _options(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--results", type=Path, help="folder that keeps the results; without it they are only printed")
    parser.add_argument("--units", type=int, default=2000, help="units per layout and world")
    parser.add_argument("--problems", type=int, default=60, help="small problems that are solved to the optimum")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--minutes", type=float, help="begin nothing more after so many; a later run goes on")
    parser.add_argument("--layouts", nargs="*", choices=tuple(LAYOUTS), default=list(LAYOUTS))
    parser.add_argument("--worlds", nargs="*", choices=WORLDS, default=list(WORLDS))
    parser.add_argument("--only-report", action="store_true", help="play nothing")
    return parser.parse_args(arguments)


def _play(results: Results, run: Run, jobs: int, minutes: float | None) -> None:
    end = time.time() + 60 * minutes if minutes is not None else float("inf")
    missing = [(results, piece, end) for piece in pieces(run) if not results.has(piece)]
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for done, _ in enumerate(pool.imap_unordered(_star, missing), 1):
            print(f"\r{done} of {len(missing)} pieces", end="", file=sys.stderr, flush=True)


def _star(task: tuple[Results, Piece, float]) -> bool:
    return work(*task)


def report(results: Results, run: Run) -> Iterator[str]:
    """All that is there of a run, as Markdown. Raises ``MadeByOtherCode``."""
    wanted = list(pieces(run))
    there = [piece for piece in wanted if results.has(piece)]
    yield f"# Bench simulator: {len(there)} of {len(wanted)} pieces, seed {run.seed}\n"
    yield f"{results.cpu_seconds(there) / 60:.1f} minutes of processor time; code {results.made_by}."
    sums = results.small(there)
    if sums:
        yield f"\n## Small problems ({sums[PROBLEMS]:.0f})"
        yield from bar_table([optimum_bar(sums)])
        yield from reduced_table(sums)
    for world in run.worlds:
        scores = results.scores(world, there)
        if scores:
            yield f"\n## World: {world}\n\n### Bars"
            yield from bar_table(list(bars(scores, priors_right=world == _MATCHED)))
            yield "\n### Costs"
            yield from costs(scores)
            yield "\n### Rankings and probabilities"
            yield from rankings(scores)
    yield f"\n{_HOW}"


_HOW = """\
± is the 95 % interval of a mean (normal approximation). All policies repair the same units: costs are compared by the
difference unit by unit, and ours counts as worse than another policy where the whole interval of that difference lies
above 0; with many comparisons that is strict, for one in forty does by chance. Claims about one unit hang together: the
interval of a tenth takes each unit as one draw."""


if __name__ == "__main__":
    main()
