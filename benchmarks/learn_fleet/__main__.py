"""``python -m benchmarks.learn_fleet``: measures and writes ``RESULTS.md`` beside itself."""

from __future__ import annotations

import argparse
import os
import platform
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random
from textwrap import wrap

from benchmarks.learn_fleet.cost import Cost, measured
from benchmarks.learn_fleet.fleet import FAULTY, HELPED, captures, plan
from benchmarks.learn_fleet.layouts import Layout, layouts, wide
from benchmarks.learn_fleet.scoring import Score, score
from usbwatch.capture.document import to_json
from usbwatch.capture.saved import parse
from usbwatch.drafting.learning import Learnt, Source, learn

FIRST_SEED = 5000
"""Seeds below this one were looked at while the learner was written; none of them is measured."""
SIZES = {50: 0.99, 10: 0.95}
"""Captures in a fleet, and the bar for each precision and recall."""
WIDTH = 118
ABOUT = f"""\
Written by `python -m benchmarks.learn_fleet`. Fleets are drawn at random: three invented laptops (USB-heavy with an
internal hub; I2C, PS/2 and Type-C; SPI, I2C and USB without a hub) and a wide one of 60 devices; variants that a SKU, a
board version or nothing tells; second sources; ports moved between board versions; objects that firmware versions name
anew; {FAULTY:.0%} faulty units; {HELPED:.0%} captures with helpers left in; kernels that lack drivers; captures that
could not see a bus; in 3 of 10 models firmware says nothing of sockets. The learner reads the captures alone, as files.
What no capture of a fleet shows (an optional part that all these units happen to have, a second source that none of
them has) cannot be learnt; it is counted under *does not show* and in neither figure. Seeds from {FIRST_SEED} on; the
learner's assumptions were chosen on others."""
HARDER = (0.10, 0.30)
"""A bench that captures before it sorts, and leaves its mouse in: shares that the learner does not assume."""
KINDS = {
    "mandatory": ("mandatory",),
    "optional": ("optional",),
    "alternate: second sources": ("second source",),
    "alternate: places": ("place",),
    "alternate, both": ("second source", "place"),
}


def sources(made: Iterator[str]) -> Iterator[Source]:
    """Capture files, as the command reads them, but from memory."""
    for number, text in enumerate(made):
        name = f"unit-{number:05d}.json"
        capture = parse(text.encode("utf-8"), name)
        digest = text.partition('"digest": "')[2].partition('"')[0]
        yield Source(name=name, digest=digest, capture=capture)


def fleet(layout: Layout, seed: int, count: int, shares: tuple[float, float]) -> Score:
    """The score of one fleet."""
    rng = Random(f"{seed} {layout.name}")
    faulty, helped = shares
    made = replace(plan(rng, layout), faulty=faulty, helped=helped)
    units = list(captures(rng, made, count))
    learnt: Learnt = learn(sources(to_json(one.capture) for one in units))
    return score(made, units, learnt)


def accuracy(count: int, seeds: int, shares: tuple[float, float]) -> tuple[Score, int]:
    """The scores of many fleets together, and how many fleets."""
    whole, fleets = Score(), 0
    for layout in (*layouts(), wide()):
        for seed in range(FIRST_SEED, FIRST_SEED + seeds):
            whole.add(fleet(layout, seed, count, shares))
            fleets += 1
        print(f"{count} captures, {layout.name}: done", file=sys.stderr)
    return whole, fleets


def table(bar: float | None, whole: Score) -> Iterator[str]:
    """The figures of fleets of one size as a table."""
    yield "| what | precision | recall | right | wrong | missed | does not show | bar |"
    yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
    for name, kinds in KINDS.items():
        precision, recall = whole.precision(*kinds), whole.recall(*kinds)
        counts = [sum(part[kind] for kind in kinds) for part in (whole.right, whole.wrong, whole.missed, whole.hidden)]
        met = "" if bar is None else f"{bar} met" if min(precision, recall) >= bar else f"{bar} NOT MET"
        figures = " | ".join(str(one) for one in counts)
        yield f"| {name} | {precision:.4f} | {recall:.4f} | {figures} | {met} |"


def cost_lines(cost: Cost) -> Iterator[str]:
    """What learning costs, and its ratio to the peer."""
    each = cost.cpu_s / cost.captures
    met = "met" if cost.cpu_s < 120 and cost.peak_mb < 500 else "NOT MET"  # noqa: PLR2004 - the bar
    pairs = cost.captures - 1
    yield from wrap(
        f"`usbwatch profile learn FOLDER --json` on {cost.captures} files ({cost.megabytes:.0f} MB) of a unit with"
        f" {cost.devices} devices, start-up and reading included: {cost.cpu_s:.1f} s of CPU (user and system),"
        f" {cost.peak_mb:.0f} MB peak resident memory; {cost.learnt} devices learnt. Bar: 120 s and 500 MB, {met}.",
        WIDTH,
    )
    yield ""
    yield from wrap(
        "The peer is deepdiff on the nodes of two captures, keyed by bus and location, both already read:"
        f" {cost.pair_s:.4f} s a pair (mean of {cost.pairs} pairs of neighbours in the same fleet). Comparing each"
        f" capture with one other is {pairs} pairs. That was not run but scaled up by the number of pairs:"
        f" {pairs * cost.pair_s:.0f} s, so learning costs {each / cost.pair_s:.3f} of it. Comparing all with all would"
        f" be {cost.captures * pairs // 2} pairs. (The peer tells differences, and learns nothing from them.)",
        WIDTH,
    )


def main() -> None:
    """Measure, and write the results."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=60, help="fleets of each laptop and size")
    parser.add_argument("--captures", type=int, default=10_000, help="captures for the cost")
    given = parser.parse_args()
    lines = [
        "# Learning from fleets with known truth",
        "",
        ABOUT,
        "",
        f"Machine: {os.cpu_count()} cores, CPython {platform.python_version()}, {platform.system()}.",
        "",
    ]
    for count, bar in SIZES.items():
        whole, fleets = accuracy(count, given.seeds, (FAULTY, HELPED))
        lines += [f"## {count} captures, {fleets} fleets", "", *table(bar, whole), ""]
    for count in SIZES:
        whole, fleets = accuracy(count, given.seeds // 2, HARDER)
        lines += [f"## {count} captures, {fleets} fleets, 10 % faulty and 30 % with helpers (no bar)", ""]
        lines += [*table(None, whole), ""]
    lines += ["## Cost", "", *cost_lines(measured(given.captures))]
    (Path(__file__).parent / "RESULTS.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
